"""What singers do on the way to a note is part of it; quick tunes and instruments stay."""

from itertools import pairwise

import numpy as np

from liltwright.hear.audio.events import Events
from liltwright.hear.clean.scoops import Meant, meant_notes, usual_step_s
from liltwright.hear.ears.raw import RawNote
from liltwright.tune import Restrike

HOP_S = 128 / 22050


def _meant(
    notes: list[RawNote], clarity: list[float] | None = None, voice: float = 1.0
) -> list[Meant]:
    level = np.full(round(20 / HOP_S), -60.0)
    for note in notes:
        level[round(note.onset_s / HOP_S) : round(note.offset_s / HOP_S)] = -20.0
    sure = np.array(clarity or [0.98] * len(notes))
    return meant_notes(notes, sure, Events(HOP_S, level, np.zeros(len(level)), -60.0), voice)


def _tune(step_s: float, count: int = 10) -> list[RawNote]:
    return [
        RawNote(1 + step_s * k, 1 + step_s * (k + 0.8), 60.0 + 2 * (k % 4), confidence=0.95)
        for k in range(count)
    ]


def test_a_short_beginning_beside_the_pitch_is_part_of_the_note():
    tune = _tune(0.5)
    last = RawNote(6.12, 6.6, 64.0, confidence=0.9)
    scooped = [*tune, RawNote(6.0, 6.12, 63.0, confidence=0.8), last]
    found = [one.note for one in _meant(scooped)]
    assert len(found) == len(tune) + 1
    assert (found[-1].onset_s, found[-1].offset_s, found[-1].midi) == (6.0, 6.6, 64.0)
    assert _meant(scooped)[-1].source == len(scooped) - 1


def test_an_instrument_keeps_them_and_so_does_a_quick_tune():
    scooped = [
        *_tune(0.5), RawNote(6.0, 6.12, 63.0), RawNote(6.12, 6.6, 64.0),
    ]  # fmt: skip
    assert [one.note for one in _meant(scooped, voice=0.0)] == scooped
    quick = _tune(0.15, 30)
    steps = [*quick, RawNote(5.5, 5.62, 63.0), RawNote(5.62, 5.9, 64.0)]
    assert [one.note for one in _meant(steps)] == steps


def test_a_drift_without_an_onset_is_one_note_and_a_heard_step_is_two():
    tune = _tune(0.5)
    for belief, count in ((0.2, 1), (0.9, 2)):
        pair = [RawNote(6.0, 6.6, 64.0), RawNote(6.6, 7.1, 65.0, confidence=belief)]
        assert len(_meant([*tune, *pair])) == len(tune) + count


def test_breath_and_room_beside_singing_are_no_notes():
    tune = _tune(0.5)
    breath = RawNote(7.0, 7.3, 50.0, confidence=0.3)
    assert len(_meant([*tune, breath], [0.98] * 10 + [0.2])) == len(tune)
    assert len(_meant([*tune, breath], [0.98] * 10 + [0.9])) == len(tune) + 1


def test_nothing_overlaps_and_order_stays():
    rng = np.random.default_rng(5)
    times = np.sort(rng.uniform(0.1, 18.0, 80))
    notes = [
        RawNote(a, b, float(rng.normal(62, 2)), confidence=float(rng.uniform(0.1, 1)))
        for a, b in pairwise(times)
        if b - a > 0.02
    ]
    found = [one.note for one in _meant(notes)]
    assert 0 < len(found) < len(notes)
    assert all(a.offset_s <= b.onset_s for a, b in pairwise(found))
    assert usual_step_s(notes) > 0.0
    assert usual_step_s([]) > 0.0


def test_where_two_notes_are_taken_for_one_the_moment_is_told():
    first = RawNote(1.0, 1.4, 62.0, 0.95, again=(Restrike(1.0, 0.9),))
    second = RawNote(1.4, 1.8, 62.0, 0.05, again=(Restrike(1.4, 0.05),))
    (one,) = _meant([first, second])
    assert one.note.again == (*first.again, *second.again)
