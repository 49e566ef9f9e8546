"""The decoding half of the ear: beliefs made by hand -> notes."""

from itertools import pairwise

import numpy as np
import pytest

from liltwright.hear.ears.decode import decode, find_places
from liltwright.hear.ears.network import HOP_S, LOWEST_MIDI, N_PITCHES, Evidence, class_midi


def beliefs(
    notes: list[tuple[int, int, float]], total: int, *, onsets: dict[int, float] | None = None
) -> Evidence:
    """What a sure network would say of notes (first frame, last frame + 1, MIDI).

    onsets : belief in an onset per frame, instead of 0.9 at every first frame.
    """
    pitch = np.full((total, N_PITCHES + 1), 1e-5, dtype=np.float32)
    pitch[:, -1] = 1.0
    onset, offset, ornament = np.zeros((3, total), dtype=np.float32)
    for first, last, midi in notes:
        bell = np.exp(-0.5 * ((class_midi() - midi) * 3 / 0.6) ** 2)
        pitch[first:last, :-1] = 0.98 * bell / bell.sum() + 1e-5
        pitch[first:last, -1] = 0.01
        offset[last - 1] = 0.6
    for at, belief in (onsets or {first: 0.9 for first, _, _ in notes}).items():
        onset[at] = belief
        onset[at - 1] = max(onset[at - 1], 0.4 * belief)
        onset[at + 1] = max(onset[at + 1], 0.4 * belief)
    pitch /= pitch.sum(axis=1, keepdims=True)
    return Evidence(pitch, onset, offset, ornament)


def found(evidence: Evidence) -> list[tuple[int, float]]:
    """(first frame, MIDI to a tenth) of the decoded notes."""
    return [(round(n.onset_s / HOP_S), round(n.midi, 1)) for n in decode(evidence)]


def test_notes_with_rests():
    made = [(10, 30, 62.0), (30, 50, 64.0), (60, 80, 69.3)]
    assert found(beliefs(made, 100)) == [(10, 62.0), (30, 64.0), (60, 69.3)]


def test_rest_ends_a_note():
    notes = decode(beliefs([(10, 30, 62.0), (60, 80, 62.0)], 100))
    assert notes[0].offset_s == pytest.approx(30 * HOP_S, abs=2 * HOP_S)


def test_repeated_notes_are_kept_apart_by_their_onset():
    made = [(10, 25, 67.0), (25, 40, 67.0), (40, 55, 67.0)]
    assert found(beliefs(made, 70)) == [(10, 67.0), (25, 67.0), (40, 67.0)]


def test_no_repetition_without_an_onset():
    made = [(10, 25, 67.0), (25, 55, 67.0)]
    assert found(beliefs(made, 70, onsets={10: 0.9})) == [(10, 67.0)]


def test_a_cut_of_35_ms_is_a_note_of_its_own():
    made = [(10, 13, 74.0), (13, 30, 71.0)]
    assert found(beliefs(made, 50)) == [(10, 74.0), (13, 71.0)]


def test_slurred_step_needs_no_sure_onset():
    made = [(10, 25, 67.0), (25, 40, 69.0)]
    assert found(beliefs(made, 60, onsets={10: 0.9, 25: 0.1})) == [(10, 67.0), (25, 69.0)]


def test_vibrato_of_a_quarter_tone_is_one_note():
    waves = [(10 + k, 11 + k, 69 + 0.5 * np.sin(2 * np.pi * k / 15)) for k in range(60)]
    notes = decode(beliefs(waves, 90, onsets={10: 0.9}))
    assert len(notes) == 1
    assert notes[0].midi == pytest.approx(69, abs=0.15)


def test_scoop_is_one_note():
    scoop = [(10 + k, 11 + k, 67 - 1.2 * np.exp(-k / 3)) for k in range(30)]
    notes = decode(beliefs(scoop, 60, onsets={10: 0.9}))
    assert [round(n.midi) for n in notes] == [67]


def test_octave_slip_inside_a_note_is_not_followed():
    """Three frames an octave up without an onset, as when the second harmonic dominates."""
    made = [(10, 25, 62.0), (25, 28, 74.0), (28, 50, 62.0)]
    assert found(beliefs(made, 70, onsets={10: 0.9})) == [(10, 62.0)]


def test_one_doubtful_frame_does_not_end_a_note():
    evidence = beliefs([(10, 40, 62.0)], 60)
    evidence.pitch[25] = evidence.pitch[0]
    assert found(evidence) == [(10, 62.0)]


def test_onset_between_two_frames():
    evidence = beliefs([(20, 40, 62.0)], 60, onsets={20: 0.6})
    evidence.onset[19:23] = (0.2, 0.7, 0.7, 0.2)
    assert decode(evidence)[0].onset_s == pytest.approx(20.5 * HOP_S, abs=0.5 * HOP_S)


def test_confidence_follows_belief():
    sure = decode(beliefs([(10, 30, 62.0)], 50))[0]
    doubtful = beliefs([(10, 30, 62.0)], 50, onsets={10: 0.3})
    doubtful.pitch[10:30, -1] += 0.7
    doubtful.pitch[:] /= doubtful.pitch.sum(axis=1, keepdims=True)
    assert decode(doubtful)[0].confidence < sure.confidence - 0.2
    assert 0.85 < sure.confidence <= 1


def test_no_leap_of_an_octave_inside_a_note():
    """The network may waver between octaves in a steady sound; a note that leaps has an onset."""
    made = [(10, 50, 69.0), (50, 80, 81.0)]
    assert found(beliefs(made, 100, onsets={10: 0.9})) == [(10, 69.0)]
    assert found(beliefs(made, 100, onsets={10: 0.9, 50: 0.5})) == [(10, 69.0), (50, 81.0)]


def test_fewer_readings_have_a_doubtful_note():
    made = [(10, 30, 62.0), (30, 60, 64.0), (60, 90, 64.0)]
    sure = decode(beliefs(made, 100))
    doubtful = decode(beliefs(made, 100, onsets={10: 0.9, 30: 0.9, 60: 0.55}))
    assert min(note.readings for note in sure) > 0.9
    assert doubtful[2].readings < sure[2].readings - 0.2


def test_belief_in_ornaments_is_handed_on():
    evidence = beliefs([(10, 13, 74.0), (13, 30, 71.0)], 50)
    evidence.ornament[10:13] = 0.9
    cut, note = decode(evidence)
    assert cut.ornament > 0.8
    assert note.ornament < 0.2


def test_notes_never_overlap_and_are_in_order():
    rng = np.random.default_rng(3)
    pitch = rng.dirichlet(np.full(N_PITCHES + 1, 0.02), 400).astype(np.float32)
    tracks = rng.random((3, 400)).astype(np.float32)
    notes = decode(Evidence(pitch, *tracks))
    assert notes
    for before, after in pairwise(notes):
        assert before.onset_s < before.offset_s <= after.onset_s


def test_places_are_apart():
    rng = np.random.default_rng(4)
    evidence = beliefs([(10, 30, 62.0)], 200)
    evidence.onset[:] = rng.random(200)
    assert np.diff(find_places(evidence).places).min() >= 2


@pytest.mark.parametrize("total", [1, 2, 5])
def test_tiny_recordings(total):
    assert decode(beliefs([], total)) == []


def test_lowest_class_is_lowest_midi():
    assert class_midi()[1] == LOWEST_MIDI


def test_weak_onsets_inside_a_note_are_told_with_it():
    made = [(10, 25, 67.0), (25, 55, 67.0), (55, 70, 69.0)]
    first, second = decode(beliefs(made, 90, onsets={10: 0.9, 25: 0.2, 55: 0.9}))
    own, again = first.again
    assert own.at_s == pytest.approx(first.onset_s)
    assert again.at_s == pytest.approx(25 * HOP_S, abs=HOP_S)
    assert again.belief == pytest.approx(0.2, abs=0.01)
    assert len(second.again) == 1


def test_no_moment_where_no_onset_is_believed():
    made = [(10, 25, 67.0), (25, 55, 67.0)]
    (note,) = decode(beliefs(made, 70, onsets={10: 0.9, 25: 0.03}))
    assert len(note.again) == 1
