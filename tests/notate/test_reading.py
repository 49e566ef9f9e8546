"""The decision on metre, type and bar lines: its steps in closed form, and as a whole."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import median_filter

from liltwright.errors import UsageError
from liltwright.notate.metre.kind import Kind
from liltwright.notate.metre.places import nearest_step, places
from liltwright.notate.metre.reading import (
    _barred_at,
    _Choice,
    _led_by,
    _paired,
    _rival,
    part_starts,
    read_rhythm,
)
from liltwright.notate.metre.swing import in_swing, in_time
from liltwright.notate.metre.tempo import REACH, running_median
from liltwright.notate.metre.viterbi import MetrePath
from liltwright.notate.plain import PlainNotes, plain_notes
from tests.notate.playing import JIG, play, tune_of
from tests.notate.test_crooked_search import told_of
from tests.notate.test_passes import TICK_S, line_of

SIX = Kind("jig", "6/8")


def path(meter: str, *ticks: int) -> MetrePath:
    return MetrePath(meter, 0.0, np.array(ticks), np.zeros(len(ticks), bool))


def test_a_bar_line_is_put_at_the_nearest_note_and_all_move_alike():
    line = line_of([0, 12, 24, 36, 72], [62] * 5, SIX)
    moved = _barred_at(line, 12 * TICK_S + 0.4 * TICK_S)
    assert moved.ticks.tolist() == [60, 72, 84, 96, 132]
    assert moved.ticks[1] % SIX.bar_ticks == 0
    with pytest.raises(UsageError, match="lies after the last note"):
        _barred_at(line, 73 * TICK_S)


def test_two_bars_of_six_eight_are_one_of_twelve_eight():
    """Parts begin with bar 0 and 8: pairs begin with even bars. With bar 1 and 9: with odd ones."""
    line = line_of([72 * at for at in range(16)], [62] * 16, SIX)
    starts = np.full(16, -5.0)
    starts[[0, 8]] = 5.0
    even, joined = _paired(line, starts)
    assert (even.kind.meter, even.ticks.tolist()) == ("12/8", line.ticks.tolist())
    assert joined.tolist() == [5.0, -5.0, -5.0, -5.0, 5.0, -5.0, -5.0, -5.0]
    odd, joined = _paired(line, np.roll(starts, 1))
    assert odd.ticks.tolist() == [tick + 72 for tick in line.ticks]
    assert joined.tolist()[1] == joined.tolist()[5] == 5.0


def test_a_part_begins_as_surely_as_its_notes_say_on_the_mean():
    told = told_of([0, 36, 72, 108, 144], "6/8")
    line = line_of(told.path.ticks.tolist(), [62] * 5, SIX)
    first = np.exp(told.said.since[:, 0])
    odds = np.log((first + 1e-4) / (1 - first + 1e-4))
    expected = [odds[:2].mean(), odds[2:4].mean(), odds[4]]
    np.testing.assert_allclose(part_starts(told, line), expected)


def test_a_reading_in_four_retold_in_six_counts_the_first_half_of_its_bars():
    """One bar of 4/4 is two of 6/8: only its first half can begin a part."""
    told = told_of([0, 48], "4/4")
    line = line_of([0, 72], [62, 64], SIX)
    first = np.exp(told.said.since[:, 0]) * np.array([1.0, 0.0])
    expected = np.log((first + 1e-4) / (1 - first + 1e-4))
    np.testing.assert_allclose(part_starts(told, line), expected)


def test_a_type_that_leads_takes_the_place_and_chance_of_the_first():
    types = (("strathspey", 0.6), ("reel", 0.3), ("hornpipe", 0.1))
    assert _led_by("hornpipe", types) == (
        ("hornpipe", 0.6), ("reel", 0.3), ("strathspey", 0.1),
    )  # fmt: skip


@pytest.mark.parametrize(("second", "named"), [(0.3, "2/4"), (0.05, None)])
def test_another_metre_is_named_where_it_is_nearly_as_likely(second, named):
    paths = [path("4/4", 0), path("2/4", 0)]
    assert _rival(_Choice(paths, np.array([1 - second, second]))) == named
    assert _rival(_Choice(paths[:1], np.array([1.0]))) is None


@pytest.mark.parametrize("seed", range(3))
def test_the_running_median_is_that_of_scipy(seed):
    rate = np.random.default_rng(seed).uniform(0.01, 0.03, 60)
    expected = median_filter(rate, size=2 * REACH + 1, mode="nearest")
    np.testing.assert_allclose(running_median(rate), expected)


def test_the_running_median_leaves_unknown_values_out():
    rate = np.full(40, 0.02)
    rate[::3] = np.nan
    np.testing.assert_allclose(running_median(rate), 0.02)
    assert np.isfinite(running_median(np.full(5, np.nan))).all()


def notes_at(onset_s: np.ndarray) -> PlainNotes:
    n = len(onset_s)
    return PlainNotes(onset_s, onset_s + 0.1, np.full(n, 62), np.ones(n), (None,) * n)


def test_the_clock_speaks_against_steps_that_took_another_time():
    """Even notes, of which the network has no idea: the step that fits the pace costs nothing."""
    onset = 0.2 * np.arange(40)
    said = told_of([12 * at for at in range(40)], "6/8").said
    step = np.full_like(said.step, -3.0)
    quaver = int(nearest_step(np.array([12]))[0])
    step[:, quaver] = -2.9
    timed = in_time(replace(said, step=step), notes_at(onset))
    lost = (step - timed.step)[5]
    assert lost[quaver] == pytest.approx(0.0)
    long = int(nearest_step(np.array([48]))[0])
    assert lost[long] > 3.0
    assert lost[int(nearest_step(np.array([18]))[0])] == pytest.approx(0.0)  # swing costs nothing
    assert len(lost) == len(places().steps)


def test_once_swing_is_known_the_step_that_fits_it_is_the_likeliest():
    onset = 0.2 * np.arange(36)
    ticks = [12 * at for at in range(36)]
    said = told_of(ticks, "6/8").said
    flat = replace(said, step=np.zeros_like(said.step))
    swung = in_swing(flat, notes_at(onset), path("6/8", *ticks), SIX)
    assert (swung.step[:-1].argmax(axis=1) == nearest_step(np.array([12]))[0]).all()
    assert swung.step.max() == pytest.approx(0.0)


@pytest.fixture(scope="module")
def jig() -> PlainNotes:
    return plain_notes(play(tune_of(JIG), beats_per_minute=110, rounds=2))


def test_an_even_jig_is_read_as_it_is_written(jig):
    reading = read_rhythm(jig)
    assert (reading.line.kind.meter, reading.types[0][0]) == ("6/8", "jig")
    assert sum(chance for _, chance in reading.types) <= 1.0 + 1e-6
    assert not len(reading.passed_over_s)
    assert reading.told is not None
    assert len(reading.told.path.ticks) == len(reading.line.ticks)
    # two rounds of two parts played twice: passes begin with bars 1, 9, 17 ... (bar 0: pick-up)
    best = np.argsort(-reading.part_starts)[:8]
    assert sorted(int(bar) % 8 for bar in best) == [1] * 8


def test_what_the_user_fixes_is_what_is_read(jig):
    fixed = read_rhythm(jig, tune_type="slide", meter="12/8")
    assert (fixed.line.kind.meter, fixed.types) == ("12/8", (("slide", 1.0),))
    assert fixed.told is None
    barred = read_rhythm(jig, first_bar_s=float(jig.onset_s[3]))
    assert barred.line.ticks[3] % barred.line.kind.bar_ticks == 0
    assert barred.told is None
    with pytest.raises(UsageError, match=r"Nothing is read in 5/4; known metres are"):
        read_rhythm(jig, meter="5/4")
    with pytest.raises(UsageError, match=r"No waltz is written in 6/8; it is written in 3/4"):
        read_rhythm(jig, tune_type="waltz", meter="6/8")
