"""The benchmark: perform, render, hear, notate, score; tables, a figures file, floors.

    python -m tests.benchmark.run --split dev --renders 24 --baselines
    python -m tests.benchmark.run --split dev --renders 300 --truth-notes --baselines
    python -m tests.benchmark.run --split dev --renders 100 --degrade

Figures go to tests/benchmark/figures/NAME.json with the command and the commit. A figure below its
floor in floors.json makes the run end with exit code 1. The test split is for reporting only:
nothing may be tuned on it.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import subprocess
import sys
import time
from functools import partial
from typing import Any

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

from tests.benchmark import tables  # noqa: E402
from tests.benchmark.conditions import CONDITIONS  # noqa: E402
from tests.benchmark.plan import FAMILIES, TYPES, plan  # noqa: E402
from tests.benchmark.speed import speeds  # noqa: E402
from tests.benchmark.work import HERE, Order, do, peak_memory_mb  # noqa: E402

FIGURES = HERE / "figures"
FLOORS = FIGURES / "floors.json"
SPOILED = tuple(
    spoil for share in (0.01, 0.03, 0.1)
    for spoil in ((share, 0.0, 0.0), (0.0, share, 0.0), (0.0, 0.0, share), (share, share, share))
)  # fmt: skip


def main() -> int:
    """Run; 0 when every floor holds, 1 when one is undercut."""
    args = _arguments()
    truth_notes = args.truth_notes or args.degrade or args.pretend or args.stage == "notate"
    order = Order(
        notate=args.stage != "hear",
        truth_notes=truth_notes,
        degrade=SPOILED if args.degrade else (),
        baselines=args.baselines,
        pretend=args.pretend,
    )
    jobs = plan(
        args.split, args.first + args.renders, families=tuple(args.families),
        conditions=tuple(args.conditions), types=tuple(args.types), extras=not args.plain,
    )[args.first :]  # fmt: skip
    start = time.time()
    rows = _work(jobs, order, args.workers)
    figures = _figures(args, rows, truth_notes)
    figures["wall_s"] = round(time.time() - start)
    if not truth_notes:
        with multiprocessing.get_context("spawn").Pool(1) as pool:
            figures["summary"]["total"]["peak_mb"] = pool.apply(peak_memory_mb, (jobs[0],))
        if args.baselines:
            with multiprocessing.get_context("spawn").Pool(1) as pool:
                figures["speed"] = pool.apply(speeds, (jobs[0],))
    _print(figures, rows, args.rows)
    path = FIGURES / f"{figures['name']}.json"
    if not args.keep:
        FIGURES.mkdir(exist_ok=True)
        path.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
        print(f"\nfigures in {path.relative_to(HERE.parent.parent)}")
    return _check_floors(figures)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--split", choices=("train", "dev", "test"), default="dev")
    parser.add_argument("--renders", type=int, default=24)
    parser.add_argument("--first", type=int, default=0, help="number of the first render")
    parser.add_argument("--families", nargs="+", default=FAMILIES, choices=FAMILIES)
    parser.add_argument("--conditions", nargs="+", default=CONDITIONS, choices=CONDITIONS)
    parser.add_argument("--types", nargs="+", default=TYPES, choices=sorted(set(TYPES)))
    parser.add_argument("--stage", choices=("hear", "notate", "all"), default="all")
    parser.add_argument("--truth-notes", action="store_true", help="notate the performer's notes")
    parser.add_argument("--pretend", action="store_true", help="play as on real recordings")
    parser.add_argument("--degrade", action="store_true", help="spoil the performer's notes too")
    parser.add_argument("--baselines", action="store_true")
    parser.add_argument("--plain", action="store_true", help="no talk, taps or late starts")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--rows", action="store_true", help="print every render")
    parser.add_argument("--keep", action="store_true", help="leave the figures file as it is")
    parser.add_argument("--name", help="name of the figures file")
    return parser.parse_args()


def _work(jobs: list[Any], order: Order, workers: int) -> list[dict[str, Any]]:
    rows = []
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        for done, row in enumerate(pool.imap(partial(do, order=order), jobs, chunksize=1), 1):
            rows.append(row)
            print(f"\r{done}/{len(jobs)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return rows


def _figures(
    args: argparse.Namespace, rows: list[dict[str, Any]], truth_notes: bool
) -> dict[str, Any]:
    kind = (
        "pretend"
        if args.pretend
        else "degrade"
        if args.degrade
        else "truth-notes"
        if truth_notes
        else "audio"
    )
    figures: dict[str, Any] = {
        "name": args.name or f"{args.split}-{kind}",
        "command": "python -m tests.benchmark.run " + " ".join(sys.argv[1:]),
        "commit": _commit(),
        "summary": tables.summary(rows),
        "baselines": tables.baselines(rows),
        "degraded": tables.degraded(rows),
        "reliability": tables.reliability(rows),
        "failed": [f"{row['number']}: {row['error']}" for row in rows if "error" in row],
    }
    return {name: value for name, value in figures.items() if value}


def _commit() -> str:
    def git(*words: str) -> str:
        return subprocess.run(
            ["git", *words], cwd=HERE, capture_output=True, text=True, check=False
        ).stdout.strip()

    changed = git("status", "--porcelain", "--untracked-files=no", "--", ":/pipeline", ":/models")
    return git("rev-parse", "--short", "HEAD") + (" with changes" if changed else "")


def _print(figures: dict[str, Any], rows: list[dict[str, Any]], every: bool) -> None:
    if every:
        for row in rows:
            print(_line(row))
    table = figures["summary"]
    for columns in (tables.HEAR, tables.WRITE):
        if any(name in table["total"] for name in columns):
            print("\n" + tables.show(table, columns))
    total = table["total"]
    for name in ("wrong_bars_listed", "listed_bars_wrong", "bars_listed",
                 "wrong_printed_listed", "rounds", "tempo",
                 "hear_cpu_s_per_minute", "notate_cpu_s_per_2_minutes", "peak_mb"):  # fmt: skip
        if name in total:
            print(f"{name:<28}{total[name]:10.3f}")
    for heading in ("baselines", "degraded"):
        if heading in figures:
            columns = dict.fromkeys(c for row in figures[heading].values() for c in row)
            print(f"\n{heading}\n" + tables.show(figures[heading], columns))
    for name, speed in figures.get("speed", {}).items():
        print(f"{name:<28}{speed['times_real_time']:10.1f} times real time, "
              f"{speed['per_processor_second']:.1f} per processor second")  # fmt: skip
    if "reliability" in figures:
        print("\nconfidence  notes  right")
        for mean, notes, right in figures["reliability"]:
            print(f"{mean:10.2f}{notes:7d}{right:7.3f}")
    for fault in figures.get("failed", ()):
        print("failed", fault)


def _line(row: dict[str, Any]) -> str:
    heard, written = row.get("heard"), row.get("written")
    text = f"{row['number']:4d} {row['sound']:<20}{row['condition']:<12}{row['type']:<11}"
    if heard:
        text += f" F1 {heard['f1_50']:.3f} {heard['f1_25']:.3f} lag {heard['latency_s']:+.3f}"
    if written:
        said, true = row["said"], row["true"]
        wrong = [f"{said[k]} for {true[k]}" for k in said if said[k] != true[k]]
        text += (f" bars {written['bars_right']}/{written['bars']} printed "
                 f"{written['printed_right']}/{written['printed']} {'; '.join(wrong)}")  # fmt: skip
    return text + f" {row['tune']} {row.get('error', '')}"


def _check_floors(figures: dict[str, Any]) -> int:
    """Print every floor that is undercut."""
    if not FLOORS.exists():
        return 0
    floors = json.loads(FLOORS.read_text(encoding="utf-8")).get(figures["name"], {})
    worst = 0
    for group, wanted in floors.items():
        for name, floor in wanted.items():
            value = figures["summary"].get(group, {}).get(name)
            if value is not None and value < floor:
                print(f"BELOW FLOOR {group} / {name}: {value} < {floor}")
                worst = 1
    return worst


if __name__ == "__main__":
    sys.exit(main())
