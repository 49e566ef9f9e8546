"""Task: how well are real recordings heard, by hand-made notes of them?

In: a folder with `sung/*.ogg` and `*.txt` (onset s, offset s, MIDI), `flute/reel.mp3` and
    `reel.csv` (onset s, duration s, MIDI); see its README. Out: a table and figures/NAME.json. No
    sound and no note of it is stored.
Method: mir_eval's notes at 50 ms and 50 cents: onsets alone, with pitch, with pitch and offset. The
    singers' truth is absolute, so that the concert pitch that `hear` took out is added back; the
    flute's is whole semitones at its own pitch. Ornaments are left out of the estimate, because
    the truth has plain notes. Means over the files.
References: mir_eval.transcription (Raffel et al. 2014).

    python -m tests.benchmark.real_hear --real FOLDER [--baselines]

Figures below those of "real-hear" in figures/floors.json make the run end with exit code 1. With
--baselines also swift-f0's own notes and basic-pitch's (defaults), kept in the figures file.
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

from liltwright.tune import NoteEvent  # noqa: E402
from liltwright.units import hz_to_midi  # noqa: E402

FIGURES = Path(__file__).parent / "figures"
Scores = tuple[float, float, float]
MEASURES = ("onset", "onset_pitch", "onset_pitch_offset")


def main() -> int:
    """Measure; 0 also when there is nothing to measure with."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--real", type=Path, required=True, help="folder of real performances")
    parser.add_argument("--name", default="real-hear", help="name of the figures file")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--baselines", action="store_true", help="general note trackers too")
    args = parser.parse_args()
    sung, flute = real_files(args.real)
    if not sung and not flute:
        print(f"Skipped: {args.real} has no sung/*.ogg, so there is nothing to measure.")
        return 0
    with get_context("spawn").Pool(args.workers) as pool:
        scores = pool.map(score, [*sung, *flute], chunksize=1)
        others = pool.map(baselines, [*sung, *flute], chunksize=1) if args.baselines else []
    summary = _summary(scores, len(sung))
    path = FIGURES / f"{args.name}.json"
    kept = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    trackers = {
        name: _summary([one[name] for one in others], len(sung))
        for name in (others[0] if others else ())
    } or kept.get("baselines", {})
    for who, found in {"ours": summary, **trackers}.items():
        for name, values in found.items():
            print(who, name, *(f"{key} {value}" for key, value in values.items()), sep="  ")
    figures = {
        "name": args.name,
        "command": "python -m tests.benchmark.real_hear --real FOLDER --baselines",
        "summary": summary,
        "baselines": trackers,
    }
    path.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    return _below_floors(args.name, summary)


def _summary(scores: list[Scores], sung: int) -> dict[str, dict[str, float]]:
    """Means over the files; the first `sung` are singers, the rest flutes."""
    return {
        name: {measure: round(float(np.mean(column)), 3) for measure, column in
               zip(MEASURES, zip(*rows, strict=True), strict=True)} | {"files": len(rows)}
        for name, rows in (("sung", scores[:sung]), ("flute", scores[sung:]))
        if rows
    }  # fmt: skip


def _below_floors(name: str, summary: dict[str, dict[str, float]]) -> int:
    floors = json.loads((FIGURES / "floors.json").read_text(encoding="utf-8")).get(name, {})
    low = [
        f"{group} {measure}: {summary[group][measure]} is below its floor {least}"
        for group, wanted in floors.items()
        if group in summary
        for measure, least in wanted.items()
        if summary[group][measure] < least
    ]
    print(*low, sep="\n", end="\n" if low else "")
    return 1 if low else 0


def baselines(path: Path) -> dict[str, Scores]:
    """The scores of general trackers by name, each as it comes."""
    import swift_f0

    from liltwright.hear.audio.recording import load_audio
    from liltwright.hear.ears import basic

    audio = load_audio(path)
    track = swift_f0.SwiftF0().detect_from_array(audio.samples, audio.sample_rate)
    own = swift_f0.segment_notes(track)
    found = basic.recommended(basic.beliefs(audio.samples))
    notes = {
        "swift-f0": [(n.start, n.end, float(hz_to_midi(n.pitch_median))) for n in own],
        "basic-pitch": [(n.onset_s, n.offset_s, n.midi) for n in found],
    }
    tables = {name: np.array(rows).reshape(-1, 3) for name, rows in notes.items()}
    truth = truth_of(path)
    return {name: compared(*truth, table[:, :2], table[:, 2]) for name, table in tables.items()}


def real_files(folder: Path) -> tuple[list[Path], list[Path]]:
    """Singers and flute of a folder, as far as they are there."""
    flute = [path for path in [folder / "flute" / "reel.mp3"] if path.exists()]
    return sorted((folder / "sung").glob("*.ogg")), flute


def score(path: Path) -> Scores:
    """F1 of onsets, of onsets with pitch, of onsets with pitch and offset."""
    return compared(*truth_of(path), *heard_notes(path))


def compared(
    true_spans: np.ndarray, true_midi: np.ndarray, spans: np.ndarray, midi: np.ndarray
) -> Scores:
    """The three scores of notes given as spans in seconds, shape (n, 2), and MIDI pitches."""
    hertz, true_hertz = (mir_eval.util.midi_to_hz(pitch) for pitch in (midi, true_midi))
    onset = mir_eval.transcription.onset_precision_recall_f1(true_spans, spans)[2]
    pitched = [
        mir_eval.transcription.precision_recall_f1_overlap(
            true_spans, true_hertz, spans, hertz, offset_ratio=ratio
        )[2]
        for ratio in (None, 0.2)
    ]
    return float(onset), float(pitched[0]), float(pitched[1])


def heard_notes(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Spans and pitches of the plain notes that we hear, on the truth's concert pitch."""
    from liltwright.errors import PipelineError
    from liltwright.hear.audio.recording import load_audio
    from liltwright.hear.listen import hear

    try:
        heard = hear(load_audio(path))
    except PipelineError as fault:
        print(f"{path.name}: {fault}", file=sys.stderr)
        return _arrays([])
    spans, midi = _arrays([n for n in heard.notes if n.role == "note"])
    if path.with_suffix(".txt").exists():
        midi = midi + heard.tuning_offset_cents / 100
    return spans, midi


def truth_of(path: Path) -> tuple[np.ndarray, np.ndarray]:
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
