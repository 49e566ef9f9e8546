"""Task: how does the page come out for real performances, by hand-made notes of them?

In: a folder with `played/*.csv` (onset s, duration s, MIDI), `played/index.csv` (file, type, key)
    and `flute/reel.csv`. Out: a table and figures/NAME.json. No note of it is stored.
Method: the notes go to `notate` alone, as if an ear without faults had heard them. Right are the
    type, the metre (that of the type, by dances.json) and the tonic; there is no truth for form,
    so that only its likelihood is told: parts of 4, 8 or 16 bars, the number of parts, and the
    parts by letters to look at. Doubted is the share of the heard bars that carry a doubt.
References: the dance tunes are from "A corpus of annotated Irish traditional dance music
    recordings", ISMIR 2016.

    python -m tests.benchmark.real --real FOLDER
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import mean

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

from liltwright.dances import dances  # noqa: E402
from liltwright.keys import pitch_class  # noqa: E402
from liltwright.notate.notate import notate  # noqa: E402
from liltwright.tune import Heard, NoteEvent, Part, Source, Tune  # noqa: E402

FIGURES = Path(__file__).parent / "figures"
WHOLE = (4, 8, 16)
SAME = {"2/2": "4/4", "12/8": "6/8"}
"""A slide in 12/8 has every bar line of one in 6/8 but every other."""
FLUTE = ("flute/reel", "reel", "")


@dataclass(frozen=True, slots=True)
class Row:
    """One performance; None where the truth is not known."""

    name: str
    tune_type: str
    type_right: bool | None
    meter: str
    meter_right: bool | None
    tonic: str
    tonic_right: bool | None
    form: str
    part_bars: tuple[int, ...]
    form_whole: bool
    """Every part has 4, 8 or 16 bars."""
    rounds: int
    doubted: float
    ending: bool


def main() -> int:
    """Measure; 0 also when there is nothing to measure with."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--real", type=Path, required=True, help="folder of real performances")
    parser.add_argument("--name", default="real-notes", help="name of the figures file")
    parser.add_argument("--keep", action="store_true", help="leave the figures file as it is")
    args = parser.parse_args()
    if not (args.real / "played" / "index.csv").exists():
        print(f"Skipped: {args.real} has no played/index.csv, so there is nothing to measure.")
        return 0
    rows = [_row(name, read_notes(path), kind, key) for name, path, kind, key in _all(args.real)]
    figures = {
        "name": args.name,
        "command": "python -m tests.benchmark.real --real FOLDER",
        "summary": summary(rows),
        "rows": [asdict(row) for row in rows],
    }
    for row in rows:
        print(_line(row))
    print("\n" + "\n".join(f"{name:<14}{value:8.3f}" for name, value in summary(rows).items()))
    if not args.keep:
        path = FIGURES / f"{args.name}.json"
        path.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    return 0


def _all(folder: Path) -> Iterator[tuple[str, Path, str, str]]:
    """(name, notes, type, key) of every performance; no key where none is known."""
    with (folder / "played" / "index.csv").open(encoding="utf-8") as lines:
        for line in csv.DictReader(lines):
            yield line["file"][:-4], folder / "played" / line["file"], line["type"], line["key"]
    name, kind, key = FLUTE
    if (folder / f"{name}.csv").exists():
        yield name, folder / f"{name}.csv", kind, key


def read_notes(path: Path) -> Heard:
    """A note list as an ear without faults would have heard it; notes never overlap."""
    with path.open(encoding="utf-8") as lines:
        table = sorted((float(a), float(b), float(c)) for a, b, c in csv.reader(lines))
    starts = [onset for onset, _, _ in table[1:]] + [float("inf")]
    notes = tuple(
        NoteEvent(onset, max(min(onset + length, after), onset + 1e-3), midi)
        for (onset, length, midi), after in zip(table, starts, strict=True)
        if after > onset
    )
    return Heard(Source(path.name, "0" * 64, notes[-1].offset_s), notes)


def _row(name: str, heard: Heard, kind: str, key: str) -> Row:
    tune = notate(heard)
    dance = {str(name): one for name, one in dances().items()}.get(kind)
    sizes = tuple(part_bars(part) for part in tune.parts)
    meter = SAME.get(tune.meter, tune.meter)
    true_meters = {SAME.get(one, one) for one in dance.meters} if dance else set()
    return Row(
        name,
        tune.tune_type,
        tune.tune_type == kind if dance else None,
        tune.meter,
        meter in true_meters if dance else None,
        f"{tune.tonic} {tune.mode}",
        pitch_class(tune.tonic) == pitch_class(key.rstrip("m")) if key else None,
        tune.form,
        sizes,
        all(size in WHOLE for size in sizes),
        tune.rounds,
        round(len({doubt.bar for doubt in tune.doubts}) / max(len(tune.bars_heard), 1), 3),
        _ending(tune),
    )


def part_bars(part: Part) -> int:
    """Bars of one time through the part."""
    return len(part.bars) + max((len(ending.bars) for ending in part.endings), default=0)


def _ending(tune: Tune) -> bool:
    return any("ending of the performance" in remark for remark in tune.remarks)


def summary(rows: list[Row]) -> dict[str, float]:
    """Means over the performances whose truth is known."""
    columns: dict[str, list[bool | None] | list[bool] | list[int] | list[float]] = {
        "type": [row.type_right for row in rows],
        "meter": [row.meter_right for row in rows],
        "tonic": [row.tonic_right for row in rows],
        "form_whole": [row.form_whole for row in rows],
        "parts": [len(set(row.form)) for row in rows],
        "doubted": [row.doubted for row in rows],
        "endings": [row.ending for row in rows],
    }
    return {
        name: round(mean(float(v) for v in values if v is not None), 3)
        for name, values in columns.items()
    } | {"performances": len(rows)}


def _line(row: Row) -> str:
    def said(what: str, right: bool | None) -> str:
        return what + {True: "", False: " (wrong)", None: " (?)"}[right]

    sizes = " ".join(map(str, row.part_bars))
    return (
        f"{row.name:<22}{said(row.tune_type, row.type_right):<20}"
        f"{said(row.meter, row.meter_right):<13}{said(row.tonic, row.tonic_right):<22}"
        f"{row.form:<16}{sizes:<18}x{row.rounds:<3}{row.doubted:.2f}"
        f"{' ending' if row.ending else ''}"
    )


if __name__ == "__main__":
    sys.exit(main())
