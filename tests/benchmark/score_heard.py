"""Task: how well were the notes heard?

In: Heard and the performance's truth (Tune.heard, tuning_offset_cents). Out: HeardScores.
Method: note precision, recall and F1 by mir_eval.transcription (onset and pitch, no offset) over
    the plain notes, at 50 and 25 ms and 50 cents. One constant latency per recording, at most
    60 ms, is taken out first. A note reported where the truth has a note inside an ornament is
    neither right nor wrong, so that ears that know nothing of ornaments are not punished for
    hearing them; a plain note reported as an ornament counts as missed. Pitches are compared as
    they sound: the concert pitch that was taken out is put back.
References: mir_eval.transcription.match_notes; Bay, Ehmann & Downie, ISMIR 2009.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import mir_eval
import numpy as np

from liltwright.tune import Heard, NoteEvent, Tune
from liltwright.units import midi_to_hz

LATENCY_S = 0.060
GRACES = ("cut", "tap", "roll", "triplet", "grace")
SHORT = {"cut": "cut", "tap": "tap", "grace": ""}
"""A grace may be the same sound as a cut or a tap; "" agrees with both."""


@dataclass(frozen=True, slots=True)
class HeardScores:
    """Scores of one recording. Counts where shares of few things would mislead."""

    f1_50: float
    precision_50: float
    recall_50: float
    f1_25: float
    latency_s: float
    notes: int
    repeated: int
    repeated_found: int
    ornaments: int
    ornaments_reported: int
    ornaments_found: int
    """Plain notes with an ornament for which one was reported within 100 ms."""
    ornaments_labelled: int
    """Of these, with the right name."""
    octave_errors: int
    reliability: tuple[tuple[float, int, int], ...]
    """(mean confidence, notes, right notes) in ten bins of confidence."""


def score_heard(heard: Heard, truth: Tune, *, until_s: float | None = None) -> HeardScores:
    """Compare; `until_s` cuts both lists, for ears too slow to hear everything."""
    reference = [note for note in truth.heard if until_s is None or note.onset_s < until_s]
    estimate = [note for note in heard.notes if until_s is None or note.onset_s < until_s]
    plain = [note for note in reference if note.role == "note"]
    inside = [note for note in reference if note.role == "ornament"]
    claimed = [note for note in estimate if note.role == "note"]
    ours, theirs = (
        _arrays(plain, truth.tuning_offset_cents),
        _arrays(claimed, heard.tuning_offset_cents),
    )
    latency = _latency(ours, theirs)
    theirs = (theirs[0] - latency, theirs[1])
    pairs = _match(ours, theirs, 0.05)
    excused = _inside_ornaments(_arrays(inside, truth.tuning_offset_cents), theirs, pairs)
    kept = [index for index in range(len(claimed)) if index not in excused]
    precision, recall = len(pairs) / max(len(kept), 1), len(pairs) / max(len(plain), 1)
    close = _match(ours, theirs, 0.025)
    right = {index for _, index in pairs}
    repeated = _repeated(plain)
    found, labelled = _ornaments(plain, claimed, latency)
    return HeardScores(
        f1_50=_f1(len(pairs), len(plain), len(kept)),
        precision_50=precision,
        recall_50=recall,
        f1_25=_f1(len(close), len(plain), len(kept)),
        latency_s=latency,
        notes=len(plain),
        repeated=len(repeated),
        repeated_found=len(repeated & {index for index, _ in pairs}),
        ornaments=sum(note.ornament in GRACES for note in plain),
        ornaments_reported=sum(note.ornament in GRACES for note in claimed),
        ornaments_found=found,
        ornaments_labelled=labelled,
        octave_errors=_octave_errors(ours, theirs, pairs),
        reliability=_reliability([(claimed[index].confidence, index in right) for index in kept]),
    )


Notes = tuple[np.ndarray, np.ndarray]
"""Onsets in seconds and sounding MIDI pitches."""


def _arrays(notes: Sequence[NoteEvent], offset_cents: float) -> Notes:
    return (
        np.array([note.onset_s for note in notes]),
        np.array([note.midi for note in notes]) + offset_cents / 100,
    )


def _match(reference: Notes, estimate: Notes, window_s: float) -> list[tuple[int, int]]:
    if not len(reference[0]) or not len(estimate[0]):
        return []
    return mir_eval.transcription.match_notes(
        _intervals(reference), midi_to_hz(reference[1]), _intervals(estimate),
        midi_to_hz(estimate[1]), onset_tolerance=window_s, pitch_tolerance=50.0, offset_ratio=None,
    )  # fmt: skip


def _intervals(notes: Notes) -> np.ndarray:
    """mir_eval wants offsets although they are not looked at; times are kept above zero."""
    return np.stack([notes[0] + 1.0, notes[0] + 1.05], axis=1)


def _latency(reference: Notes, estimate: Notes) -> float:
    """The median lateness of notes that agree within 110 ms, at most 60 ms either way."""
    pairs = _match(reference, estimate, 0.11)
    if len(pairs) < 5:
        return 0.0
    late = np.median([estimate[0][est] - reference[0][ref] for ref, est in pairs])
    return float(np.clip(late, -LATENCY_S, LATENCY_S))


def _inside_ornaments(inside: Notes, estimate: Notes, pairs: list[tuple[int, int]]) -> set[int]:
    """Unmatched estimates that coincide with a note inside an ornament (50 ms, a tone)."""
    right = {index for _, index in pairs}
    excused = set()
    for index in range(len(estimate[0])):
        if index in right or not len(inside[0]):
            continue
        near = np.abs(inside[0] - estimate[0][index]) <= 0.05
        near &= np.abs(inside[1] - estimate[1][index]) <= 2.0
        if near.any():
            excused.add(index)
    return excused


def _f1(right: int, reference: int, estimate: int) -> float:
    return 2 * right / max(reference + estimate, 1)


def _repeated(plain: list[NoteEvent]) -> set[int]:
    """Plain notes that repeat the pitch of the one before with hardly a gap."""
    return {
        at
        for at in range(1, len(plain))
        if round(plain[at].midi) == round(plain[at - 1].midi)
        and plain[at].onset_s - plain[at - 1].onset_s < 0.6
    }


def _ornaments(plain: list[NoteEvent], claimed: list[NoteEvent], latency: float) -> tuple[int, int]:
    """(found, found and rightly named) among the plain notes that carry an ornament."""
    true = [note for note in plain if note.ornament in GRACES]
    said = [note for note in claimed if note.ornament in GRACES]
    if not true or not said:
        return 0, 0
    pairs = mir_eval.util.match_events(
        np.array([note.onset_s for note in true]),
        np.array([note.onset_s for note in said]) - latency,
        0.1,
    )
    named = sum(_same_ornament(true[ref].ornament, said[est].ornament) for ref, est in pairs)
    return len(pairs), named


def _same_ornament(true: str | None, said: str | None) -> bool:
    if true == said:
        return True
    return true in SHORT and said in SHORT and "" in (SHORT[str(true)], SHORT[str(said)])


def _octave_errors(reference: Notes, estimate: Notes, pairs: list[tuple[int, int]]) -> int:
    """Missed plain notes for which a note a whole number of octaves away was reported."""
    matched = {index for index, _ in pairs}
    wrong = 0
    for at in range(len(reference[0])):
        if at in matched:
            continue
        near = np.abs(estimate[0] - reference[0][at]) <= 0.05
        away = np.round((estimate[1] - reference[1][at]) / 12)
        off = np.abs(estimate[1] - reference[1][at] - 12 * away)
        wrong += bool((near & (away != 0) & (off <= 0.5)).any())
    return wrong


def _reliability(said: list[tuple[float, bool]]) -> tuple[tuple[float, int, int], ...]:
    bins: list[tuple[float, int, int]] = []
    for low in range(10):
        mine = [(c, ok) for c, ok in said if min(int(c * 10), 9) == low]
        mean = float(np.mean([c for c, _ in mine])) if mine else (low + 0.5) / 10
        bins.append((round(mean, 3), len(mine), sum(ok for _, ok in mine)))
    return tuple(bins)
