"""Two tunes in one recording with a gap are offered separately."""

from liltwright.hear.takes import split_takes, takes_warning
from liltwright.tune import Heard, LeftOut, NoteEvent, Source


def notes(start_s, count, step_s=0.4):
    return tuple(
        NoteEvent(start_s + i * step_s, start_s + (i + 0.9) * step_s, 60 + i % 7)
        for i in range(count)
    )


def heard(*groups, left_out=()):
    joined = tuple(note for group in groups for note in group)
    return Heard(Source("a.wav", ""), joined, left_out=left_out, warnings=takes_warning(joined))


def test_one_tune_stays_whole():
    whole = heard(notes(1, 40))
    assert split_takes(whole) == (whole,)
    assert whole.warnings == ()


def test_two_tunes_with_a_gap():
    talk = LeftOut(17.5, 19.0, "talking or counting in")
    both = heard(notes(1, 40), notes(20, 30), left_out=(talk,))
    assert both.warnings == (
        "There seem to be 2 tunes or takes in this recording: 0:01-0:16, 0:20-0:31.",
    )
    first, second = split_takes(both)
    assert (first.notes, second.notes) == (notes(1, 40), notes(20, 30))
    assert first.warnings == second.warnings == ()


def test_a_breath_is_no_gap():
    assert len(split_takes(heard(notes(1, 40), notes(18.5, 40)))) == 1


def test_a_false_start_is_no_tune():
    """Four notes, a stop, then the tune: too little to be offered as a tune of its own."""
    assert len(split_takes(heard(notes(1, 4), notes(8, 40)))) == 1


def test_three_tunes():
    assert len(split_takes(heard(notes(1, 30), notes(20, 30), notes(40, 30)))) == 3
