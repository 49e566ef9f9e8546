"""Task: how well are real recordings heard, by hand-made notes of them?

In: a folder with `sung/*.ogg` and `*.txt` (onset s, offset s, MIDI), `flute/reel.mp3` and
    `reel.csv` (onset s, duration s, MIDI); see its README. Out: a table and figures/NAME.json. No
    sound and no note of it is stored.
Method: mir_eval's notes at 50 ms and 50 cents: onsets alone, with pitch, with pitch and offset. The
    singers' truth is absolute, so that the concert pitch that `hear` took out is added back; the
    flute's is whole semitones at its own pitch. Ornaments are left out of the estimate, because
    the truth has plain notes. Means over the files.
References: mir_eval.transcription (Raffel et al. 2014).

    python -m tests.benchmark.real_hear --real FOLDER
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from multiprocessing import get_context
from pathlib import Path

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import mir_eval  # noqa: E402
import numpy as np  # noqa: E402

from pipeline.tune import NoteEvent  # noqa: E402

FIGURES = Path(__file__).parent / "figures"
MEASURES = ("onset", "onset_pitch", "onset_pitch_offset")


def main() -> int:
    """Measure; 0 also when there is nothing to measure with."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--real", type=Path, required=True, help="folder of real performances")
    parser.add_argument("--name", default="real-hear", help="name of the figures file")
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    sung = sorted((args.real / "sung").glob("*.ogg"))
    flute = [path for path in [args.real / "flute" / "reel.mp3"] if path.exists()]
    if not sung and not flute:
        print(f"Skipped: {args.real} has no sung/*.ogg, so there is nothing to measure.")
        return 0
    with get_context("spawn").Pool(args.workers) as pool:
        scores = pool.map(score, [*sung, *flute], chunksize=1)
    summary = {
        name: {measure: round(float(np.mean(column)), 3) for measure, column in
               zip(MEASURES, zip(*rows, strict=True), strict=True)} | {"files": len(rows)}
        for name, rows in (("sung", scores[: len(sung)]), ("flute", scores[len(sung) :]))
        if rows
    }  # fmt: skip
    for name, values in summary.items():
        print(name, *(f"{measure} {value}" for measure, value in values.items()), sep="  ")
    figures = {
        "name": args.name,
        "command": "python -m tests.benchmark.real_hear --real FOLDER",
        "summary": summary,
    }
    path = FIGURES / f"{args.name}.json"
    path.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    return 0


def score(path: Path) -> tuple[float, float, float]:
    """F1 of onsets, of onsets with pitch, of onsets with pitch and offset."""
    from pipeline.errors import PipelineError
    from pipeline.hear.audio import load_audio
    from pipeline.hear.listen import hear

    true_spans, true_midi = _truth(path)
    try:
        heard = hear(load_audio(path))
    except PipelineError as fault:
        print(f"{path.name}: {fault}", file=sys.stderr)
        return 0.0, 0.0, 0.0
    spans, midi = _arrays([n for n in heard.notes if n.role == "note"])
    if path.with_suffix(".txt").exists():
        midi = midi + heard.tuning_offset_cents / 100
    hertz, true_hertz = (mir_eval.util.midi_to_hz(pitch) for pitch in (midi, true_midi))
    onset = mir_eval.transcription.onset_precision_recall_f1(true_spans, spans)[2]
    pitched = [
        mir_eval.transcription.precision_recall_f1_overlap(
            true_spans, true_hertz, spans, hertz, offset_ratio=ratio
        )[2]
        for ratio in (None, 0.2)
    ]
    return float(onset), float(pitched[0]), float(pitched[1])


def _truth(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Spans in seconds and MIDI pitches."""
    if path.with_suffix(".txt").exists():
        table = np.loadtxt(path.with_suffix(".txt"), ndmin=2)
        return table[:, :2], table[:, 2]
    table = np.loadtxt(path.with_suffix(".csv"), delimiter=",", ndmin=2)
    return np.column_stack([table[:, 0], table[:, 0] + table[:, 1]]), table[:, 2]


def _arrays(notes: list[NoteEvent]) -> tuple[np.ndarray, np.ndarray]:
    spans = np.array([(n.onset_s, n.offset_s) for n in notes]).reshape(-1, 2)
    return spans, np.array([n.midi for n in notes])


if __name__ == "__main__":
    sys.exit(main())
