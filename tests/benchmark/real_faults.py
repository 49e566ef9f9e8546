"""Task: which faults make up what is heard wrong on real recordings?

In: the folder of real_hear.py. Out: a table and figures/real-faults.json: counts and quantiles.
Method: notes are paired as mir_eval pairs them (onset 50 ms), the rest in a second round (150 ms).
    A true note without any partner lies in another one of its pitch (joined repeat), in one of
    another pitch (swallowed), or in nothing (unheard). A false note without a partner is a piece of
    a true one whose pitch it has (split), of which it is the beginning (scoop), an inner piece of
    another pitch (wobble), an end (tail) - short ones of a flute are ornaments - or in silence. Of
    pairs: onset early or late beyond 50 ms, pitch off by more than 50 cents, octave, end.
References: kinds of fault after E. Molina et al., "Evaluation framework for automatic singing
    transcription", ISMIR 2014.

    python -m tests.benchmark.real_faults --real FOLDER
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from multiprocessing import get_context
from pathlib import Path

import mir_eval
import numpy as np

from tests.benchmark.real_hear import FIGURES, heard_notes, real_files, truth_of

ONSET_S, NEAR_S, CENTS, END_SHARE = 0.05, 0.15, 50.0, 0.2
ORNAMENT_S = 0.085
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)

Row = tuple[Counter[str], list[tuple[float, float, float]]]


def main() -> int:
    """Classify; 0 also when there is nothing to look at."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--real", type=Path, required=True, help="folder of real performances")
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    sung, flute = real_files(args.real)
    if not sung and not flute:
        print(f"Skipped: {args.real} has no sung/*.ogg, so there is nothing to look at.")
        return 0
    with get_context("spawn").Pool(args.workers) as pool:
        rows = pool.map(faults, [*sung, *flute], chunksize=1)
    summary = {
        name: _summary(part)
        for name, part in (("sung", rows[: len(sung)]), ("flute", rows[len(sung) :]))
        if part
    }
    print(json.dumps(summary, indent=1))
    figures = {
        "command": "python -m tests.benchmark.real_faults --real FOLDER",
        "quantiles": QUANTILES,
        "summary": summary,
    }
    path = FIGURES / "real-faults.json"
    path.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    return 0


def _summary(rows: list[Row]) -> dict[str, object]:
    counts = sum((row[0] for row in rows), Counter[str]())
    errors = np.array([error for row in rows for error in row[1]]).reshape(-1, 3)
    spread = np.quantile(errors, QUANTILES, axis=0).T.round(0).tolist() if len(errors) else []
    names = ("onset_error_ms", "pitch_error_cents", "end_error_ms")
    return dict(sorted(counts.items())) | dict(zip(names, spread, strict=False))


def faults(path: Path) -> Row:
    """Counts of one recording, and (ms, cents, ms) by which each pair differs, ours less theirs."""
    true_spans, true_midi = truth_of(path)
    spans, midi = heard_notes(path)
    return classify(true_spans, true_midi, spans, midi, flute=path.suffix == ".mp3")


def classify(
    true_spans: np.ndarray,
    true_midi: np.ndarray,
    spans: np.ndarray,
    midi: np.ndarray,
    *,
    flute: bool = False,
) -> Row:
    """Counts and differences of one recording; spans (n, 2) in seconds, pitches as MIDI numbers."""
    counts = Counter({"true": len(true_spans), "heard": len(spans)})
    pairs = _pairs(true_spans, spans)
    errors = []
    for i, j in pairs:
        onset_s, end_s = spans[j] - true_spans[i]
        cents = 100.0 * (midi[j] - true_midi[i])
        errors.append((1000 * onset_s, cents, 1000 * end_s))
        for name in _pair_faults(onset_s, cents, end_s, float(np.ptp(true_spans[i]))):
            counts[name] += 1
        counts["paired"] += 1
    missed = set(range(len(true_spans))) - {i for i, _ in pairs}
    false = set(range(len(spans))) - {j for _, j in pairs}
    for i in missed:
        counts[_missed(true_spans[i], true_midi[i], spans, midi)] += 1
    for j in false:
        counts[_false(spans[j], midi[j], true_spans, true_midi, flute=flute)] += 1
    return counts, errors


def _pairs(true_spans: np.ndarray, spans: np.ndarray) -> list[tuple[int, int]]:
    """First whatever lies within ONSET_S, then what is left within NEAR_S."""
    match = mir_eval.transcription.match_note_onsets
    if not len(spans) or not len(true_spans):
        return []
    pairs = list(match(true_spans, spans, onset_tolerance=ONSET_S))
    left = [k for k in range(len(true_spans)) if k not in {i for i, _ in pairs}]
    free = [k for k in range(len(spans)) if k not in {j for _, j in pairs}]
    if left and free:
        more = match(true_spans[left], spans[free], onset_tolerance=NEAR_S)
        pairs += [(left[i], free[j]) for i, j in more]
    return pairs


def _pair_faults(onset_s: float, cents: float, end_s: float, length_s: float) -> list[str]:
    found = []
    if abs(onset_s) > ONSET_S:
        found.append("pair: onset early" if onset_s < 0 else "pair: onset late")
    if abs(cents) > CENTS:
        octave = abs(abs(cents) - 1200) < 2 * CENTS
        far = "pair: pitch off by 1 to 3 quarter tones" if abs(cents) < 150 else "pair: pitch wrong"
        found.append("pair: octave" if octave else far)
    if abs(end_s) > max(ONSET_S, END_SHARE * length_s):
        found.append("pair: end early" if end_s < 0 else "pair: end late")
    return found


def _overlaps(span: np.ndarray, others: np.ndarray) -> np.ndarray:
    return np.minimum(span[1], others[:, 1]) - np.maximum(span[0], others[:, 0])


def _missed(span: np.ndarray, pitch: float, spans: np.ndarray, midi: np.ndarray) -> str:
    shared = _overlaps(span, spans) if len(spans) else np.zeros(1)
    if shared.max() < 0.3 * np.ptp(span):
        return "missed: unheard"
    near = abs(midi[int(shared.argmax())] - pitch) < 0.7
    return "missed: joined to a note of its pitch" if near else "missed: swallowed by another pitch"


def _false(
    span: np.ndarray, pitch: float, true_spans: np.ndarray, true_midi: np.ndarray, *, flute: bool
) -> str:
    length_s = float(np.ptp(span))
    shared = _overlaps(span, true_spans)
    host = int(shared.argmax())
    if flute and length_s < ORNAMENT_S:
        return "false: ornament"
    if shared[host] < 0.3 * length_s:
        return "false: in silence"
    if abs(pitch - true_midi[host]) < 0.7:
        return "false: note split"
    middle = (span.mean() - true_spans[host, 0]) / np.ptp(true_spans[host])
    return "false: scoop" if middle < 0.35 else "false: tail" if middle > 0.75 else "false: wobble"


if __name__ == "__main__":
    sys.exit(main())
