"""Where one tune of a set gives way to the next, on notes of known tunes."""

import numpy as np

from liltwright.hear.changes import changes, likeness
from liltwright.hear.takes import split_takes
from liltwright.tune import Heard, NoteEvent, Source

STEP_S = 0.2


def part(seed, count=64):
    """Random notes of a scale: one part of a tune."""
    rng = np.random.default_rng(seed)
    return rng.choice([62, 64, 66, 67, 69, 71, 73, 74, 76, 78, 79, 81], count).tolist()


def performed(*midi):
    line = [pitch for one in midi for pitch in one]
    return tuple(NoteEvent(k * STEP_S, (k + 0.9) * STEP_S, pitch) for k, pitch in enumerate(line))


def tune(seed, rounds=2):
    a, b = part(seed), part(seed + 1)
    return [*a, *a, *b, *b] * rounds


def test_the_second_tune_begins_where_it_begins():
    first, second = tune(1), tune(11)
    (found,) = changes(performed(first, second))
    assert abs(found - len(first) * STEP_S) <= 8 * STEP_S


def test_one_tune_is_never_cut_whatever_its_rounds():
    for seed in (3, 6, 9):
        for rounds in (2, 3):
            assert changes(performed(tune(seed, rounds))) == ()


def test_a_tune_played_once_is_not_cut_where_its_parts_end_alike():
    for seed in (3, 6, 9):
        a, b = part(seed), part(seed + 1)
        b[32:] = a[32:]
        assert changes(performed([*a, *a, *b, *b])) == ()


def test_a_wrong_note_now_and_then_does_not_hide_the_change():
    rng = np.random.default_rng(2)
    first, second = tune(5), tune(21)
    line = [m + (int(rng.choice((-2, 1, 5))) if rng.random() < 0.05 else 0) for m in
            (*first, *second)]  # fmt: skip
    (found,) = changes(performed(line))
    assert abs(found - len(first) * STEP_S) <= 16 * STEP_S


def test_what_was_just_played_is_not_a_return():
    trill = np.array([2, 4] * 20)
    assert not likeness(trill, np.arange(40) * 0.05).any()


def test_sets_are_split_for_bands_only():
    notes = performed(tune(1), tune(11))
    alone = Heard(Source("a.wav", ""), notes)
    assert len(split_takes(alone)) == 1
    band = Heard(Source("a.wav", ""), notes, band=True)
    first, second = split_takes(band)
    assert first.notes + second.notes == notes
