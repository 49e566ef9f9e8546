"""Recordings near a quarter tone off concert pitch: which semitone is meant, and how to say so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from liltwright.errors import UsageError
from liltwright.notate.concert import concert_move, concert_remark, scatter
from liltwright.notate.notate import notate
from liltwright.notate.renotate import renotate
from liltwright.notate.settings import NotateSettings
from liltwright.tune import Heard, KeyCandidate, KeyName
from tests.notate.playing import JIG, play, tune_of

F_MINOR = (KeyCandidate("F", "minor", 0.8), KeyCandidate("G#", "major", 0.2))
D_MAJOR = (KeyCandidate("D", "major", 0.8), KeyCandidate("B", "minor", 0.2))


def heard_off(semitones: int, cents: float) -> Heard:
    """The jig read so many semitones off, and what is left over in cents."""
    heard = play(tune_of(JIG), beats_per_minute=110)
    notes = tuple(replace(note, midi=note.midi + semitones) for note in heard.notes)
    return replace(heard, notes=notes, tuning_offset_cents=cents)


def test_of_two_semitones_the_usual_key_is_meant() -> None:
    """E minor is usual, F minor is not (common practice; usual.json counts 75 and 0 tunes)."""
    move = concert_move(-48.0, F_MINOR)
    assert move is not None
    assert (move.semitones, move.other) == (-1, 0)
    said = concert_remark(-48.0, F_MINOR, move)[0]
    assert "E minor, 52 cents above" in said
    assert "F minor, 48 cents below" in said
    assert "the concert pitch -48 writes that" in said


@pytest.mark.parametrize("cents", [-48.0, 48.0])
def test_a_usual_key_stays(cents: float) -> None:
    move = concert_move(cents, D_MAJOR)
    assert move is not None
    assert move.semitones == 0


@pytest.mark.parametrize(("scatter_cents", "semitones"), [(10.0, -1), (15.0, 0)])
def test_a_voice_may_be_in_any_key(scatter_cents: float, semitones: int) -> None:
    """Singers take the key that suits them, and the nearer semitone is meant (common practice)."""
    move = concert_move(-46.0, F_MINOR, scatter_cents=scatter_cents)
    assert move is not None
    assert move.semitones == semitones


def test_scatter_is_that_of_the_notes() -> None:
    heard = play(tune_of(JIG), beats_per_minute=110)
    rng = np.random.default_rng(1)
    off = rng.normal(0, 0.12, len(heard.notes))
    sung = tuple(replace(n, midi=n.midi + o) for n, o in zip(heard.notes, off, strict=True))
    assert scatter(heard) == 0.0
    assert scatter(replace(heard, notes=sung)) == pytest.approx(12, rel=0.3)
    assert scatter(replace(heard, notes=())) == 0.0


@pytest.mark.parametrize("cents", [0.0, 34.0, -34.0])
def test_near_concert_pitch_there_is_no_choice(cents: float) -> None:
    assert concert_move(cents, F_MINOR) is None


def test_the_user_decides() -> None:
    kept = concert_move(-48.0, F_MINOR, known_cents=-40.0)
    moved = concert_move(-48.0, D_MAJOR, known_cents=50.0)
    by_key = concert_move(-48.0, D_MAJOR, known_key=KeyName("C#", "major"))
    assert kept is None
    assert moved is not None
    assert moved.semitones == -1
    assert by_key is not None
    assert by_key.semitones == -1


def test_everything_is_moved_together() -> None:
    true = notate(heard_off(0, 0.0))
    found = notate(heard_off(1, -48.0))
    assert (found.tonic, found.mode) == (true.tonic, true.mode)
    assert found.parts == true.parts
    assert found.tuning_offset_cents == 52.0
    assert [note.midi for note in found.heard] == [note.midi for note in true.heard]
    second = found.candidates.key[1]
    assert (second.tonic, second.mode) in {("G#", true.mode), ("Ab", true.mode)}
    assert any("the concert pitch -48 writes that" in remark for remark in found.remarks)
    other = renotate(found, NotateSettings(concert_cents=-48.0))
    assert other.parts[0].bars[0][0].midi == true.parts[0].bars[0][0].midi + 1


def test_a_written_tune_has_no_concert_pitch() -> None:
    with pytest.raises(UsageError, match="the concert pitch is for recordings"):
        renotate(tune_of(JIG), NotateSettings(concert_cents=20.0))
