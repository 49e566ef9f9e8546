"""Task: how well was the lead of a band followed?

In: Heard, the truths of the tunes in the mixture. Out: LeadScores.
Method: note F1 of tests.benchmark.score_heard, and the same with one octave shift for the whole
    recording (of players in octaves none is the right one); F1 and raw pitch accuracy against
    either player of a group in octaves, one for the whole recording; raw pitch and raw chroma
    accuracy of mir_eval.melody with the strokes as the reference, frames of 10 ms, pitch held
    through gaps.
References: C. Raffel et al., "mir_eval", ISMIR 2014; J. Salamon et al., "Melody Extraction from
    Polyphonic Music Signals", 2014 (the measures).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import mir_eval
import numpy as np

from liltwright.tune import Heard, NoteEvent, Tune
from liltwright.units import midi_to_hz
from tests.benchmark.score_heard import score_heard

FRAME_S = 0.01


@dataclass(frozen=True, slots=True)
class LeadScores:
    """Scores of one recording."""

    f1: float
    f1_any_octave: float
    """The best octave for the whole recording."""
    f1_player: float
    """Against the player of the group that it is nearer to."""
    precision: float
    recall: float
    rpa: float
    rpa_player: float
    """Against the player of the group that it is nearer to."""
    rca: float
    voicing_false: float


def joined(tunes: tuple[Tune, ...]) -> Tune:
    """One truth of all tunes of a set; their strokes do not overlap."""
    heard = tuple(
        replace(n, midi=n.midi + t.tuning_offset_cents / 100) for t in tunes for n in t.heard
    )
    return replace(tunes[0], heard=heard, tuning_offset_cents=0.0)


def score_lead(heard: Heard, tunes: tuple[Tune, ...], octave: int = 0) -> LeadScores:
    """Compare what was heard with the lead.

    octave : semitones from the leader, who is the truth, to the other players of his group
    """
    truth = joined(tunes)
    own = score_heard(heard, truth)
    shifted = {by: score_heard(_moved(heard, by), truth).f1_50 for by in (-24, -12, 0, 12, 24)}
    end_s = max(n.offset_s for n in truth.heard)
    times = np.arange(0, end_s, FRAME_S)
    ref = _track(truth.heard, 0.0, times)
    rpa, rca, false = _melody(ref, heard, times)
    other = _melody(ref, _moved(heard, -octave), times)[0]
    return LeadScores(
        own.f1_50, max(shifted.values()), max(own.f1_50, shifted[-octave]), own.precision_50,
        own.recall_50, rpa, max(rpa, other), rca, false,
    )  # fmt: skip


def _moved(heard: Heard, semitones: int) -> Heard:
    return replace(heard, notes=tuple(replace(n, midi=n.midi + semitones) for n in heard.notes))


def _melody(ref: np.ndarray, heard: Heard, times: np.ndarray) -> tuple[float, float, float]:
    """Raw pitch accuracy, raw chroma accuracy and false alarms of the voicing."""
    est = _track(heard.notes, heard.tuning_offset_cents, times)
    ref_cent, est_cent = (
        mir_eval.melody.hz2cents(np.where(track > 0, track, 0.0)) for track in (ref, est)
    )
    rv, ev = ref > 0, est > 0
    est_cent = _held(est_cent)
    rpa = mir_eval.melody.raw_pitch_accuracy(rv, ref_cent, ev, est_cent)
    rca = mir_eval.melody.raw_chroma_accuracy(rv, ref_cent, ev, est_cent)
    _, false = mir_eval.melody.voicing_measures(rv, ev)
    return float(rpa), float(rca), float(false)


def _held(cents: np.ndarray) -> np.ndarray:
    """The last pitch held through gaps: raw pitch is judged whatever was called silent."""
    last = np.maximum.accumulate(np.where(cents > 0, np.arange(len(cents)), 0))
    return cents[last]


def _track(notes: tuple[NoteEvent, ...], cents: float, times: np.ndarray) -> np.ndarray:
    """Hz per frame, 0 where no note sounds."""
    hz = np.zeros(len(times))
    for note in notes:
        inside = (times >= note.onset_s) & (times < note.offset_s)
        hz[inside] = midi_to_hz(np.array(note.midi + cents / 100))
    return hz
