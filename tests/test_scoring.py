"""The benchmark's scoring against cases counted by hand and against mir_eval called directly."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import mir_eval
import numpy as np
import pytest

from liltwright.tune import Doubt, Heard, HeardBar, NoteEvent, ScoreNote, Source, Tune
from tests.benchmark.collections import Split, map_notes, tunes
from tests.benchmark.degrade import degrade
from tests.benchmark.families import fingerprint, normal_title
from tests.benchmark.performer import perform
from tests.benchmark.playing import truth_heard
from tests.benchmark.score_heard import score_heard
from tests.benchmark.score_tune import score_tune
from tests.benchmark.timeline import whole_round

SOURCE = Source("case.wav", "0" * 64, 10.0)
JIG = """X:1
T:Case
R:jig
M:6/8
L:1/8
K:D
A|d2A FAd|efg fed|B2e ede|fdB A2A|d2A FAd|efg fed|B2d AFE|D3 D2:|
|:e|f2d dcd|e2c A2e|f2d efg|fed e2e|f2d dcd|e2c ABc|d2B AFE|D3 D2:|
"""


def jig() -> Tune:
    from liltwright.read.abc import read_abc

    return read_abc(JIG, name="case.abc")


def note(onset_s: float, midi: float, **more: object) -> NoteEvent:
    return NoteEvent(onset_s, onset_s + 0.1, midi, **more)  # type: ignore[arg-type]


def heard(*notes: NoteEvent, cents: float = 0.0) -> Heard:
    return Heard(SOURCE, notes, cents)


def truth_of(*notes: NoteEvent) -> Tune:
    return replace(jig(), heard=notes)


SCALE = [note(0.2 * step, 62 + step) for step in range(10)]


# ---------------------------------------------------------------- heard notes


def test_a_perfect_ear_scores_one() -> None:
    scores = score_heard(heard(*SCALE), truth_of(*SCALE))
    assert scores.f1_50 == scores.f1_25 == 1.0
    assert scores.octave_errors == 0


def test_f1_counts_missed_and_invented_notes() -> None:
    found = [*SCALE[:8], note(1.75, 90)]  # two of ten missed, one of nine invented
    scores = score_heard(heard(*found), truth_of(*SCALE))
    assert scores.precision_50 == pytest.approx(8 / 9)
    assert scores.recall_50 == pytest.approx(8 / 10)
    assert scores.f1_50 == pytest.approx(16 / 19)


def test_f1_is_the_one_mir_eval_gives_when_there_is_no_ornament_and_no_latency() -> None:
    rng = np.random.default_rng(1)
    late = [0, 0.04, -0.04, 0.06, 0, 0, 0, 0, 0, 0]
    away = rng.normal(0, 0.3, 10)
    found = [note(n.onset_s + late[i], n.midi + away[i]) for i, n in enumerate(SCALE)]

    def arrays(notes: list[NoteEvent]) -> tuple[np.ndarray, np.ndarray]:
        intervals = np.array([[n.onset_s, n.offset_s] for n in notes])
        return intervals, 440 * 2 ** ((np.array([n.midi for n in notes]) - 69) / 12)

    expected = mir_eval.transcription.precision_recall_f1_overlap(
        *arrays(SCALE), *arrays(found), onset_tolerance=0.05, offset_ratio=None
    )
    scores = score_heard(heard(*found), truth_of(*SCALE))
    assert scores.latency_s == 0.0
    assert (scores.precision_50, scores.recall_50, scores.f1_50) == pytest.approx(expected[:3])


@pytest.mark.parametrize(("late_s", "f1"), [(0.055, 1.0), (-0.055, 1.0), (0.1, 1.0), (0.115, 0.0)])
def test_one_constant_latency_of_up_to_60_ms_is_taken_out(late_s: float, f1: float) -> None:
    late = [replace(n, onset_s=n.onset_s + 1 + late_s, offset_s=n.offset_s + 2) for n in SCALE]
    true = [replace(n, onset_s=n.onset_s + 1, offset_s=n.offset_s + 2) for n in SCALE]
    scores = score_heard(heard(*late), truth_of(*true))
    assert abs(scores.latency_s) <= 0.06
    assert scores.f1_50 == f1  # at 100 ms, 40 ms remain after 60 are taken out


def test_pitches_are_compared_with_the_concert_pitch_put_back() -> None:
    low = [replace(n, midi=n.midi + 0.4) for n in SCALE]  # 40 cents sharp, reported as such
    assert score_heard(heard(*SCALE, cents=40), truth_of(*low)).f1_50 == 1.0
    assert score_heard(heard(*SCALE, cents=-20), truth_of(*low)).f1_50 == 0.0


def test_a_note_inside_an_ornament_is_neither_right_nor_wrong() -> None:
    cut = note(0.36, 69, role="ornament", ornament="cut")
    true = [SCALE[0], cut, *SCALE[2:]]
    with_it = score_heard(heard(SCALE[0], note(0.36, 69), *SCALE[2:]), truth_of(*true))
    without = score_heard(heard(SCALE[0], *SCALE[2:]), truth_of(*true))
    assert with_it.f1_50 == without.f1_50 == 1.0


def test_a_plain_note_reported_as_an_ornament_is_missed() -> None:
    found = [replace(SCALE[0], role="ornament", ornament="cut"), *SCALE[1:]]
    assert score_heard(heard(*found), truth_of(*SCALE)).recall_50 == 0.9


def test_ornaments_are_found_by_their_plain_note_and_named() -> None:
    true = [replace(SCALE[0], ornament="roll"), SCALE[1], replace(SCALE[2], ornament="cut"),
            replace(SCALE[3], ornament="grace"), *SCALE[4:]]  # fmt: skip
    found = [replace(SCALE[0], ornament="roll"), SCALE[1], replace(SCALE[2], ornament="tap"),
             replace(SCALE[3], ornament="tap"), replace(SCALE[6], ornament="cut")]  # fmt: skip
    scores = score_heard(heard(*found), truth_of(*true))
    assert (scores.ornaments, scores.ornaments_reported) == (3, 4)
    assert (scores.ornaments_found, scores.ornaments_labelled) == (3, 2)


def test_octave_errors_and_repeated_notes_are_counted() -> None:
    true = [note(0.0, 62), note(0.3, 62), note(0.6, 64), note(0.9, 64), note(1.2, 66)]
    found = [note(0.0, 62), note(0.3, 62), note(0.6, 64), note(1.2, 78)]
    scores = score_heard(heard(*found), truth_of(*true))
    assert (scores.repeated, scores.repeated_found, scores.octave_errors) == (2, 1, 1)


def test_reliability_bins_hold_every_reported_note() -> None:
    found = [replace(n, confidence=0.95) for n in SCALE[:9]] + [note(1.75, 90, confidence=0.25)]
    table = score_heard(heard(*found), truth_of(*SCALE)).reliability
    assert table[9] == (0.95, 9, 9)
    assert table[2] == (0.25, 1, 0)


# ---------------------------------------------------------------- written tunes


def written() -> Tune:
    """The truth of a performance, as a perfect notate would return it."""
    return perform(jig(), "whistle", seed=1, rounds=2).truth


def test_the_truth_scored_against_itself_is_all_right() -> None:
    truth = written()
    scores = score_tune(truth, truth)
    assert scores.bars == scores.bars_right == 65  # a pick-up and twice 32 bars
    assert scores.printed == scores.printed_right == 18
    assert scores.downbeat_f1 == scores.form == scores.tune_type == scores.tempo == 1.0
    assert scores.wrong_bars == 0


def test_one_octave_for_the_whole_tune_is_forgiven_but_not_for_one_bar() -> None:
    truth = written()

    def raised(bar: HeardBar) -> HeardBar:
        return replace(bar, notes=tuple(replace(n, midi=n.midi + 12) for n in bar.notes))

    bars = truth.bars_heard
    assert score_tune(replace(truth, bars_heard=tuple(map(raised, bars))), truth).bars_right == 65
    one = (*bars[:5], raised(bars[5]), *bars[6:])
    assert score_tune(replace(truth, bars_heard=one), truth).bars_right == 64


def test_a_wrong_start_pitch_or_time_makes_a_bar_wrong() -> None:
    truth = written()
    bars = list(truth.bars_heard)
    notes = bars[3].notes
    bars[3] = replace(bars[3], notes=(*notes[:-1], replace(notes[-1], midi=notes[-1].midi + 1)))
    bars[7] = replace(bars[7], start_s=bars[7].start_s + 0.13)
    bars[9] = replace(bars[9], notes=bars[9].notes[1:])
    tune = replace(truth, bars_heard=tuple(bars), doubts=(Doubt(3, 1.0, "x"), Doubt(20, 1.0, "y")))
    scores = score_tune(tune, truth)
    assert scores.bars_right == 62
    assert scores.downbeat_f1 == pytest.approx(63 / 64)
    assert (scores.wrong_bars, scores.doubts, scores.wrong_listed) == (3, 2, 1)


def test_printed_bars_are_looked_up_where_they_are_first_played() -> None:
    truth = written()
    part = truth.parts[1]
    wrong = (ScoreNote(62, Fraction(0), Fraction(3, 4)),)
    tune = replace(truth, parts=(truth.parts[0], replace(part, bars=(wrong, *part.bars[1:]))))
    assert score_tune(tune, truth).printed_right == 17
    unfolded = replace(truth, parts=(replace(truth.parts[0], repeats=1),), form="A")
    scores = score_tune(unfolded, truth)
    assert scores.form == 0.0
    assert scores.printed_right == 8  # the pick-ups of a tune with other parts do not count


def test_a_version_played_as_often_as_the_printed_one_is_right_too() -> None:
    truth = perform(jig(), "whistle", seed=1, rounds=1, variations=0.0).truth
    other = (ScoreNote(74, Fraction(0), Fraction(3, 4)),)
    bars = list(truth.bars_heard)
    bars[2] = replace(bars[2], notes=other)  # bar 2 of the first part, first time through
    truth = replace(truth, bars_heard=tuple(bars))
    first = truth.parts[0]
    varied = replace(first, bars=(first.bars[0], other, *first.bars[2:]))
    tune = replace(truth, parts=(varied, truth.parts[1]))
    assert score_tune(tune, truth).printed_right == 18
    again = replace(truth, bars_heard=tuple(written().bars_heard), rounds=2)
    assert score_tune(tune, again).printed_right == 17


def test_endings_and_written_out_repeats_are_the_same_form() -> None:
    truth = written()
    first = truth.parts[0]
    written_out = replace(first, repeats=1, bars=first.bars + first.bars)
    tune = replace(truth, parts=(written_out, truth.parts[1]), form="ABB")
    scores = score_tune(tune, truth)
    assert (scores.form, scores.form_letters) == (1.0, 0.0)


def test_key_is_right_in_steps() -> None:
    truth = written()
    scores = score_tune(replace(truth, mode="mixolydian", signature=1), truth)
    assert (scores.tonic, scores.mode, scores.signature) == (1.0, 0.0, 0.0)


# ---------------------------------------------------------------- performer and split


def test_a_round_is_laid_out_with_its_pickups_inside_the_bars_before() -> None:
    layout = whole_round(jig())
    assert layout is not None
    notes, bars = layout
    assert bars == 32
    assert notes[0].position == Fraction(-1, 8)
    assert [n.position for n in notes if n.midi == 69][1] == Fraction(2, 8)


def test_a_performance_keeps_every_plain_note_in_time_and_on_the_page() -> None:
    performance = perform(jig(), "flute", seed=3, rounds=2, variations=0.0)
    truth = performance.truth
    plain = [n for n in truth.heard if n.role == "note"]
    on_page = [n for bar in truth.bars_heard for n in bar.notes]
    assert len(plain) == len(on_page)
    assert [round(n.midi) + 12 * truth.octave_shift for n in plain] == [n.midi for n in on_page]
    assert all(a.offset_s <= b.onset_s + 1e-9 for a, b in pairwise(truth.heard))
    for bar in truth.bars_heard[1:]:
        inside = [n for n in plain if bar.start_s - 1e-6 <= n.onset_s < bar.end_s - 0.05]
        assert len(inside) >= len(bar.notes) - 1


def test_the_same_seed_gives_the_same_performance() -> None:
    assert perform(jig(), "hum", seed=9) == perform(jig(), "hum", seed=9)
    assert perform(jig(), "hum", seed=9) != perform(jig(), "hum", seed=10)


def test_degrading_drops_and_invents_the_share_asked_for() -> None:
    ideal = truth_heard(perform(jig(), "recorder", seed=2, rounds=3))
    count = len(ideal.notes)
    assert degrade(ideal) == ideal
    assert 0.8 * count < len(degrade(ideal, drop=0.1).notes) < 0.97 * count
    assert len(degrade(ideal, insert=0.1).notes) > 1.03 * count
    shifted = degrade(ideal, shift=1.0).notes
    assert all(b.onset_s >= a.offset_s for a, b in pairwise(shifted))


def test_relatives_are_known_by_title_and_by_melody_in_any_key() -> None:
    assert normal_title("The Kerry Cobbler (2nd setting)") == normal_title(
        "Kerry Cobbler, The -- Jig"
    )
    tune = jig()
    up = map_notes(tune, lambda one: replace(one, midi=one.midi + 5))
    assert fingerprint(up) == fingerprint(tune)


def test_no_family_lies_on_both_sides_of_the_split() -> None:
    def titles(split: Split) -> set[str]:
        return {normal_title(title) for item in tunes(split) for title in item.titles}

    both = titles("dev") & titles("test")
    assert len(titles("dev")) > 300
    assert not {title for title in both if len(title) >= 4}
