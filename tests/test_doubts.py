"""Doubts bar by bar as ranges, in the summary's words."""

from __future__ import annotations

from dataclasses import replace

from liltwright.doubts import (
    bars_words,
    by_reason,
    doubtful_indices,
    doubtful_numbers,
    grouped,
    printed_bars,
    ranges,
)
from liltwright.summary import tune_lines
from liltwright.tune import Doubt
from tests.write.hand_made import heard_jig

HARD, OTHER = "some notes were hard to make out", "differs from the other 3 times through"


def test_neighbours_with_one_reason_are_one_range():
    doubts = [Doubt(bar, float(bar), HARD) for bar in (12, 13, 14, 15, 20)]
    assert [(group.words, group.why) for group in grouped(doubts)] == [
        ("bars 12-15 at 0:12", HARD), ("bar 20 at 0:20", HARD),
    ]  # fmt: skip


def test_a_second_reason_does_not_break_a_range():
    doubts = [
        Doubt(3, 3.0, HARD), Doubt(4, 4.0, f"{HARD}; {OTHER}"), Doubt(5, 5.0, HARD),
        Doubt(9, 9.0, f"{HARD}; {OTHER}"),
    ]  # fmt: skip
    assert [(g.first, g.last, g.why) for g in grouped(doubts)] == [
        (3, 5, HARD), (4, 4, OTHER), (9, 9, f"{HARD}; {OTHER}"),
    ]  # fmt: skip


def test_every_doubtful_bar_is_in_a_group_and_no_other():
    doubts = [Doubt(bar, bar / 2, HARD if bar % 3 else OTHER) for bar in range(40) if bar % 5]
    covered = [bar for g in grouped(doubts) for bar in range(g.first, g.last + 1)]
    assert sorted(covered) == [doubt.bar for doubt in doubts]
    assert sum(g.count for these in by_reason(grouped(doubts)).values() for g in these) == len(
        doubts
    )


def test_words_for_bars():
    assert bars_words(ranges([3])) == "bar 3"
    assert bars_words(ranges([5, 4, 3])) == "bars 3-5"
    assert bars_words(ranges([3, 4, 5, 8, 16])) == "bars 3-5, 8 and 16"
    assert bars_words(ranges([0])) == "pick-up"


def test_performed_bars_fall_on_written_ones():
    """The jig of 8 + 8 bars, AABB with endings: bar 9 as played is bar 1 again."""
    tune = replace(heard_jig(), doubts=(Doubt(9, 1.0, HARD), Doubt(33, 2.0, HARD)))
    written, printed = tune.written_bars(), printed_bars(tune)
    assert written[printed[9]].number == 1
    assert written[printed[33]].number == 1, "the second round begins anew"
    assert doubtful_numbers(tune) == [1]
    assert doubtful_indices(tune) == {printed[9]}


def test_a_tune_full_of_doubts_is_told_in_few_lines():
    reasons = [HARD, OTHER, "the two times through differ"]
    doubts = tuple(Doubt(bar, float(bar), reasons[bar % 3]) for bar in range(1, 33))
    tune = replace(heard_jig(), doubts=doubts)
    lines = list(tune_lines(tune, ["report.html", "tune.json"]))
    start = next(i for i, line in enumerate(lines) if line.startswith("Check by ear (32 of"))
    told = lines[start + 1 :]
    assert len(told) == 2 * len(reasons) + 1
    assert f"  {OTHER}:" in told
    assert any(line.endswith("and 7 more") for line in told)
    whole = replace(tune, doubts=tuple(replace(doubt, why=HARD) for doubt in doubts))
    assert f"  bars 1-32 at 0:01: {HARD}" in list(tune_lines(whole))


def test_a_lone_last_bar_does_not_make_the_first_doubtful():
    """A closing note after the last round is no bar of the page; the round before it is."""
    tune = heard_jig()
    once = [i for i in tune.performed_order() if tune.written_bars()[i].number]
    count = len(once)
    last = replace(tune.bars_heard[-1], notes=tune.bars_heard[-1].notes[:1])
    full = tune.bars_heard[-count:]
    heard = (*tune.bars_heard[:-count], *full, last)
    doubts = (Doubt(count, 1.0, HARD), Doubt(count + 1, 2.0, HARD))
    closing = replace(tune, bars_heard=heard, doubts=doubts)
    assert doubtful_indices(closing) == {once[-1]}
    further = replace(closing, bars_heard=(*heard, last))
    assert doubtful_indices(further) == {once[-1], once[0]}


def test_bars_lost_before_the_recording_began_move_no_doubt():
    """The same jig recorded from its fourth bar on: bar 1 as heard is bar 4 on the page."""
    tune = heard_jig()
    opening = bool(tune.bars_heard[0].notes[0].start)
    whole = printed_bars(replace(tune, doubts=(Doubt(12, 1.0, HARD),)))
    late = replace(tune, bars_heard=tune.bars_heard[opening + 3 :], doubts=(Doubt(9, 1.0, HARD),))
    assert printed_bars(late)[1] == whole[4]
    assert doubtful_indices(late) == {whole[12]}
