"""Run many generated files of every format: `python -m tests.hardness.run --cases 10000`.

Two processes share the cases; one case in twenty (--further), drawn by its seed, goes through the
stages after reading too. Writes what it ran and found to tests/hardness/figures.json (--out) as it
goes; a run of the same format and seed takes the place of the one before, runs of other seeds stay
beside it. Ends with exit code 1 when a case was neither read nor refused in one sentence.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from tests.hardness.case import BYTES, FURTHER_SECONDS, SECONDS, load, met
from tests.hardness.generate import FORMATS, Seeded, case

FIGURES = Path(__file__).parent / "figures.json"
KEPT_FAULTS = 20
CHUNK = 100
FIRST = ("cases_run", "read", "refused", "further", "further_to_the_end")
Fault = dict[str, str]


def run_share(
    kind: str, numbers: range, seed: int, folder: Path, until: float, one_in: int
) -> tuple[Counter[str], float, list[Fault]]:
    """Counts, the longest time and the faults of some cases of a format."""
    counts: Counter[str] = Counter()
    faults: list[Fault] = []
    slowest = 0.0
    for number in numbers:
        if time.monotonic() > until:
            break
        which = f"{seed}/{kind}/{number}"
        name, data = case(kind, Seeded(which))
        path = folder / f"{numbers[0]}-{name}"
        path.write_bytes(data)
        further = not Seeded(f"{which}/further").whole(0, one_in - 1)
        outcome = met(path, seconds=FURTHER_SECONDS if further else SECONDS, further=further)
        counts["cases_run"] += 1
        counts[outcome.kind] += 1
        if further:
            counts["further"] += 1
            counts["further_to_the_end"] += outcome.kind == "read"
        slowest = max(slowest, outcome.seconds)
        if not outcome.fine and len(faults) < KEPT_FAULTS:
            last = outcome.said.strip().splitlines()[-1:] or [""]
            faults.append({"case": which, "kind": outcome.kind, "last": last[0]})
    return counts, slowest, faults


def run_format(
    kind: str, cases: int, seed: int, folder: Path, until: float, processes: int, one_in: int
) -> Iterator[dict[str, object]]:
    """Counts of one format, the slowest case, the first faults with their seeds; again
    and again as they grow."""
    context = multiprocessing.get_context("fork")
    counts: Counter[str] = Counter()
    slowest = 0.0
    faults: list[Fault] = []
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        for first in range(0, cases, CHUNK):
            last = min(first + CHUNK, cases)
            shares = [
                pool.submit(
                    run_share, kind, range(one, last, processes), seed, folder, until, one_in
                )
                for one in range(first, min(first + processes, last))
            ]
            for share in shares:
                found, longest, new = share.result()
                counts += found
                slowest = max(slowest, longest)
                faults += new
            others = {name: counts[name] for name in sorted(counts) if name not in FIRST}
            yield {
                "cases_asked": cases,
                **{name: counts[name] for name in FIRST},
                **others,
                "slowest_s": round(slowest, 2),
                "faults": faults[:KEPT_FAULTS],
            }
            if time.monotonic() > until:
                return


def keep(kept: dict[str, Any], kind: str, run: dict[str, Any]) -> None:
    """Put a run among the kept ones and count all cases anew."""
    formats = kept["formats"]
    others = [one for one in formats.get(kind, {}).get("runs", ()) if one["seed"] != run["seed"]]
    runs = sorted((*others, run), key=lambda one: one["seed"])
    formats[kind] = {"cases_run": sum(one["cases_run"] for one in runs), "runs": runs}
    kept["cases_run"] = sum(one["cases_run"] for one in formats.values())


def main() -> int:
    """Run, print and keep the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=10_000, help="cases a format")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--formats", nargs="*", default=list(FORMATS), choices=FORMATS)
    parser.add_argument("--most-seconds", type=float, default=float("inf"), help="a format")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--further", type=int, default=20, help="one case in so many goes on")
    parser.add_argument("--commit", default="", help="kept with the figures")
    parser.add_argument("--out", type=Path, default=FIGURES)
    wanted = parser.parse_args()
    load()
    kept = json.loads(wanted.out.read_text()) if wanted.out.exists() else {"formats": {}}
    kept["limits_a_case"] = {
        "seconds": SECONDS, "seconds_with_further_stages": FURTHER_SECONDS, "bytes": BYTES,
    }  # fmt: skip
    bad = False
    with tempfile.TemporaryDirectory() as folder:
        for kind in wanted.formats:
            until = time.monotonic() + wanted.most_seconds
            found: dict[str, object] = {}
            for found in run_format(
                kind,
                wanted.cases,
                wanted.seed,
                Path(folder),
                until,
                wanted.processes,
                wanted.further,
            ):
                head = {
                    "seed": wanted.seed,
                    "commit": wanted.commit,
                    "further_one_in": wanted.further,
                }
                keep(kept, kind, {**head, **found})
                wanted.out.write_text(json.dumps(kept, indent=1) + "\n")
            print(kind, json.dumps(found), flush=True)
            bad = bad or bool(found.get("faults"))
    return int(bad)


if __name__ == "__main__":
    sys.exit(main())
