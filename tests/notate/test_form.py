"""Form from bars in closed form: letters for bars, equal letters sound alike."""

from __future__ import annotations

import numpy as np
import pytest

from liltwright.notate.form.segments import Form, find_form
from liltwright.notate.notate import notate
from tests.notate.playing import JIG, play, tune_of

A, B, C = "abcdefgh", "ijklmnop", "qrstuvwx"


def form_of(bars: str, alike: float = 0.0) -> Form:
    """The form when nothing is known of where parts begin; other letters are alike so far."""
    letters = np.array(list(bars))
    return find_form(np.where(letters[:, None] == letters[None], 1.0, alike), np.zeros(len(bars)))


def names(form: Form) -> str:
    return "".join("ABCDEFGH"[segment.label] for segment in form.segments)


@pytest.mark.parametrize(
    ("tag", "coda"), [("", 0), ("YZ", 2), (A[:2], 2), ("XYZ", 3), (A[:3], 3), (A[:4], 4)]
)
def test_a_tag_after_whole_rounds_is_no_part(tag: str, coda: int) -> None:
    form = form_of(A + A + B + B + tag)
    assert (names(form), form.coda) == ("AABB", coda)
    assert sum(segment.bars for segment in form.segments) == 32


def test_eight_new_bars_are_a_part() -> None:
    form = form_of(A + A + B + B + C)
    assert (names(form), form.coda) == ("AABBC", 0)


def test_a_pass_that_comes_back_varied_is_no_new_part() -> None:
    varied = "12345" + A[5:]
    form = form_of(varied + A + B + B + A + A + B + B)
    assert (names(form), form.round_bars) == ("AABBAABB", 32)


def test_a_variation_in_a_later_round_is_no_new_part() -> None:
    form = form_of(A + A + B + B + A + "12345" + A[5:] + B + B)
    assert (names(form), form.round_bars) == ("AABBAABB", 32)


def test_two_parts_with_nothing_in_common_stay_two() -> None:
    form = form_of(A + A + B + C)
    assert names(form) == "AABC"


def test_what_differs_alike_in_every_round_is_another_part() -> None:
    other = "12345" + A[5:]
    assert names(form_of(A + other + A + other)) == "ABAB"
    assert names(form_of(A + A + B + B + A + other + B + B)) == "AABBAABB"


def test_a_part_that_is_varied_in_every_pass_leaves_the_rounds_whole() -> None:
    changed = ("12" + A[2:], A[:2] + "345" + A[5:], A[:4] + "678" + A[7:])
    rounds = [A + one + B + B for one in changed]
    form = form_of("".join(rounds))
    assert (names(form), form.round_bars) == ("AABB" * 3, 32)


def test_the_ending_is_kept_in_what_was_heard_and_said() -> None:
    tune = tune_of(JIG)
    whole = play(tune, beats_per_minute=110)
    notes = whole.notes
    span = notes[-1].onset_s + 60 / 110 - notes[1].onset_s
    tag = [
        type(n)(n.onset_s + span, n.offset_s + span, n.midi)
        for n in notes[1:]
        if n.onset_s - notes[1].onset_s < 4 * 60 / 110 - 0.1
    ]
    last = tag[-1]
    tag[-1] = type(last)(last.onset_s, last.onset_s + 1.0, last.midi)
    written = notate(type(whole)(whole.source, (*notes, *tag)))
    assert written.form == "AABB"
    assert len(written.bars_heard) == 1 + 32 + 2
    assert [len(part.bars) for part in written.parts] == [8, 8]
    assert any("last 2 bars are the ending of the performance" in one for one in written.remarks)
    assert not any(doubt.bar > 32 for doubt in written.doubts)
