"""Repetitions that the ear was not sure of: put in where passes and ear agree, never invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from liltwright.notate.bars.reheard import Moments, heard_again
from liltwright.notate.bars.repeated import mended
from liltwright.notate.notate import notate
from liltwright.notate.plain import plain_notes
from liltwright.tune import Heard, Restrike
from tests.notate.playing import JIG, play, tune_of
from tests.notate.test_passes import FULL, JOINED, TICK_S, passes

HIGH = [(0, 62), (12, 64), (24, 66), (48, 71), (60, 66)]
"""JOINED with another pitch after the note in doubt, so that the passes do not sound alike."""
AT_S = (3 * 72 + 36) * TICK_S
"""When the note that HIGH lacks would be struck in the fourth pass."""
ELSEWHERE: Moments = ((3 * 72 * TICK_S + 0.06, 0.05),)
"""A doubtful moment at which the page has no place."""


def bars_of(line) -> list[list[tuple[int, int]]]:
    bars: list[list[tuple[int, int]]] = [[] for _ in range(int(line.ticks[-1]) // 72 + 1)]
    for tick, midi in zip(line.ticks.tolist(), line.midi.tolist(), strict=True):
        bars[tick // 72].append((tick % 72, midi))
    return bars


@pytest.mark.parametrize("off_s", [-0.05, 0.0, 0.05])
def test_a_note_that_three_of_four_passes_have_comes_back_where_the_ear_half_believed_it(off_s):
    line, form = passes(FULL, FULL, FULL, HIGH)
    assert mended(line, form) is line  # by the passes alone it is a variant
    whole = heard_again(line, form, ((AT_S + off_s, 0.3),))
    assert bars_of(whole)[3] == sorted([*HIGH, (36, 66)])
    assert bars_of(whole)[:3] == [FULL] * 3
    added = int(np.flatnonzero(whole.ticks == 3 * 72 + 36)[0])
    assert whole.onset_s[added] == pytest.approx(AT_S)
    assert whole.offset_s[added - 1] <= AT_S


@pytest.mark.parametrize("moments", [(), ELSEWHERE, ((AT_S - 0.12, 0.9),), ((AT_S + 0.12, 0.9),)])
def test_nothing_is_invented_where_the_ear_heard_nothing(moments):
    line, form = passes(FULL, FULL, FULL, HIGH)
    assert (3 * 72 + 36) not in heard_again(line, form, moments).ticks


def test_the_ear_alone_does_not_part_a_note_that_all_passes_hold():
    line, form = passes(JOINED, JOINED, JOINED, JOINED)
    assert heard_again(line, form, ((AT_S, 0.3),)) is line


def test_one_moment_is_one_note():
    line, form = passes([(0, 62), (36, 66)], [(0, 62), (36, 66)], [(0, 62), (36, 66)])
    moments = tuple(((72 * at + 21) * TICK_S, 0.9) for at in range(3))
    assert len(heard_again(line, form, moments).ticks) == len(line.ticks) + 3


def test_passes_that_sound_alike_agree_as_before_where_the_ear_heard_nothing():
    line, form = passes(FULL, FULL, FULL, JOINED)
    assert bars_of(heard_again(line, form, ELSEWHERE)) == [FULL] * 4


def test_a_note_that_one_pass_of_four_has_goes_where_the_ear_is_not_sure_of_it():
    cut = [*HIGH[:3], (42, 66), *HIGH[3:]]
    line, form = passes(JOINED, JOINED, JOINED, cut)
    unsure = replace(line, fit=np.where(line.ticks == 3 * 72 + 42, 0.5, 1.0))
    assert bars_of(heard_again(unsure, form, ELSEWHERE))[3] == HIGH


def test_the_last_bar_is_not_left_without_a_note():
    """A last bar of one note of the pitch before is a bar that the form counts."""
    held = [(12, 64), (24, 66)]
    line, form = passes(held, held, held, held, [(0, 66)])
    form = replace(form, segments=tuple(replace(s, label=0) for s in form.segments))
    unsure = replace(line, fit=np.where(line.ticks == 4 * 72, 0.02, 1.0))
    assert heard_again(unsure, form, ELSEWHERE).ticks[-1] == 4 * 72


def test_what_is_played_once_is_not_taken_out():
    line, form = passes([(0, 62), (12, 62), (18, 62), (24, 66), (48, 69)])
    unsure = replace(line, fit=np.full(len(line.ticks), 0.3))
    assert heard_again(unsure, form, ((0.06, 0.05),)) is unsure


def _joined(heard: Heard, number: int, belief: float | None) -> Heard:
    """With note `number` joined to the one before; what the ear then believes of its beginning."""
    before, note = heard.notes[number - 1 : number + 1]
    again = () if belief is None else (Restrike(note.onset_s, belief),)
    both = replace(before, offset_s=note.offset_s, again=again)
    return replace(heard, notes=(*heard.notes[: number - 1], both, *heard.notes[number + 1 :]))


def test_a_whole_tune_has_its_note_back_and_the_same_without_evidence_does_not():
    """In each of four passes `GB` is played as `GA`, but for the note in doubt: variants stay."""
    tune = tune_of(JIG)
    heard = play(tune, beats_per_minute=112, rounds=2)
    plain = [round(note.midi) for note in heard.notes]
    number = next(i for i in range(1, 60) if plain[i] == plain[i - 1])
    varied = list(heard.notes)
    after = varied[number + 1]
    varied[number + 1] = replace(after, midi=after.midi + 1)
    heard = replace(heard, notes=tuple(varied))
    full = sum(len(bar.notes) for bar in notate(heard).bars_heard)
    doubtful, silent = (notate(_joined(heard, number, b)) for b in (0.4, None))
    assert sum(len(bar.notes) for bar in doubtful.bars_heard) == full
    assert sum(len(bar.notes) for bar in silent.bars_heard) == full - 1


def test_moments_inside_rolls_are_no_notes_of_the_tune():
    heard = play(tune_of(JIG), beats_per_minute=112)
    first, second = (
        replace(note, again=(Restrike(note.onset_s + 0.1, 0.4),), ornament=ornament)
        for note, ornament in zip(heard.notes[:2], ("roll", None), strict=True)
    )
    notes = plain_notes(replace(heard, notes=(first, second, *heard.notes[2:])))
    assert notes.again == ((second.onset_s + 0.1, 0.4),)
