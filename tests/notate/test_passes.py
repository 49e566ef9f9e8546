"""What the passes of a bar and the habits of a type put right, on timelines in closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from liltwright.notate.bars.repeated import mended
from liltwright.notate.bars.timeline import Timeline
from liltwright.notate.bars.trebles import untrebled
from liltwright.notate.form.segments import Form, Segment
from liltwright.notate.metre.kind import Kind
from liltwright.notate.metre.swing import lacks_snaps, written_even
from liltwright.notate.metre.viterbi import MetrePath

TICK_S = 0.015


def line_of(ticks: list[int], midi: list[int], kind: Kind) -> Timeline:
    """Notes exactly in time that touch each other."""
    at = np.array(ticks)
    n = len(at)
    onset = at * TICK_S
    end = np.append(onset[1:], onset[-1] + 0.3)
    ones = np.ones(n)
    return Timeline(
        kind, 1.0, at, np.append(np.diff(at), 12), np.array(midi), onset, end, ones, ones, ones,
        np.zeros(n, bool), TICK_S * ones, (None,) * n,
    )  # fmt: skip


def passes(*bars: list[tuple[int, int]]) -> tuple[Timeline, Form]:
    """Passes of one bar of 6/8, each given as (tick, midi)."""
    ticks = [72 * at + tick for at, bar in enumerate(bars) for tick, _ in bar]
    midi = [pitch for bar in bars for _, pitch in bar]
    segments = tuple(Segment(at, 1, 0, at + 1, 0) for at in range(len(bars)))
    return line_of(ticks, midi, Kind("jig", "6/8")), Form(segments, len(bars), 0.0)


FULL = [(0, 62), (12, 64), (24, 66), (36, 66), (48, 69), (60, 66)]
JOINED = [(0, 62), (12, 64), (24, 66), (48, 69), (60, 66)]
VARIED = [(0, 62), (12, 64), (24, 66), (36, 67), (48, 69), (60, 66)]
CUT = [(0, 62), (12, 64), (18, 64), (24, 66), (36, 66), (48, 69), (60, 66)]


def test_a_lost_repetition_comes_back_at_its_time_from_the_other_pass() -> None:
    line, form = passes(FULL, JOINED)
    whole = mended(line, form)
    assert (whole.ticks % 72).tolist() == [tick for tick, _ in FULL] * 2
    assert whole.midi.tolist() == [pitch for _, pitch in FULL] * 2
    assert whole.onset_s == pytest.approx(whole.ticks * TICK_S)
    assert np.all(whole.offset_s[:-1] <= whole.onset_s[1:] + 1e-9)
    assert whole.length[:-1].tolist() == np.diff(whole.ticks).tolist()


def test_two_lost_repetitions_in_a_row_do_not_overlap() -> None:
    thrice = [(0, 62), (12, 62), (24, 62), (36, 69)]
    line, form = passes(thrice, thrice, [(0, 62), (36, 69)])
    whole = mended(line, form)
    assert (whole.ticks % 72).tolist() == [tick for tick, _ in thrice] * 3
    assert np.all(whole.offset_s[:-1] <= whole.onset_s[1:] + 1e-9)
    assert np.all(whole.offset_s > whole.onset_s)


def test_a_repetition_that_one_pass_of_four_has_is_taken_out() -> None:
    line, form = passes(JOINED, FULL, JOINED, JOINED)
    assert (mended(line, form).ticks % 72).tolist() == [tick for tick, _ in JOINED] * 4


@pytest.mark.parametrize("order", [(FULL, CUT), (CUT, FULL)])
def test_off_the_beat_a_repetition_that_half_of_the_passes_have_is_a_note_cut_in_two(order) -> None:
    line, form = passes(*order)
    assert mended(line, form) is line  # the ear is sure: the player varies
    unsure = replace(line, fit=np.where(line.ticks % 72 == 18, 0.9, 1.0))
    assert (mended(unsure, form).ticks % 72).tolist() == [tick for tick, _ in FULL] * 2


def test_off_the_beat_a_repetition_that_most_passes_have_is_put_back() -> None:
    line, form = passes(CUT, FULL, CUT)
    assert (mended(line, form).ticks % 72).tolist() == [tick for tick, _ in CUT] * 3


def test_a_bar_with_another_pitch_is_a_variant_and_stays() -> None:
    line, form = passes(FULL, VARIED, FULL)
    assert mended(line, form) is line


@pytest.mark.parametrize("strokes", [(0, 8, 16), (0, 6, 12), (0, 8)])
def test_a_crotchet_of_strokes_on_one_pitch_is_a_treble(strokes) -> None:
    """Trebles: common practice."""
    ticks = [*strokes, 24, 36, 48]
    midi = [62] * len(strokes) + [66, 69, 66]
    line = untrebled(line_of(ticks, midi, Kind("reel", "4/4")))
    assert line.ticks.tolist() == [0, 24, 36, 48]
    assert line.ornament[0] == "triplet"
    assert line.length[0] == 24


def test_short_repeated_notes_of_a_polka_are_the_tune() -> None:
    line = line_of([0, 6, 12, 24], [62, 62, 62, 66], Kind("polka", "2/4"))
    assert untrebled(line) is line


def test_swung_pairs_are_written_even_and_snaps_make_a_strathspey() -> None:
    """Swing written plainly, snaps of strathspeys: common practice."""
    dotted = np.array([24 * at + off for at in range(16) for off in (0, 18)])
    snaps = np.array([24 * at + off for at in range(16) for off in (0, 6 if at % 4 == 0 else 18)])
    plain = np.zeros(32, bool)
    path = MetrePath("4/4", 0.0, dotted, plain)
    even = written_even(path, Kind("hornpipe", "4/4"))
    assert even.ticks[:-1].tolist() == [12 * at for at in range(31)]
    assert written_even(path, Kind("march", "4/4")) is path
    assert lacks_snaps(path, "strathspey")
    assert not lacks_snaps(MetrePath("4/4", 0.0, snaps, plain), "strathspey")
    assert not lacks_snaps(path, "march")
