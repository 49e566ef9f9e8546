"""Run many generated files of every format: `python -m tests.hardness.run --cases 10000`.

Writes what it ran and found to tests/hardness/figures.json (--out), format by format as they end,
and ends with exit code 1 when a case was neither read nor refused in one sentence.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.hardness.case import BYTES, SECONDS, load, met
from tests.hardness.generate import FORMATS, Seeded, case

FIGURES = Path(__file__).parent / "figures.json"
KEPT_FAULTS = 20


def run_format(kind: str, cases: int, seed: int, folder: Path, until: float) -> dict[str, object]:
    """Counts of one format, the slowest case, and the first faults with their seeds."""
    counts: Counter[str] = Counter()
    faults: list[dict[str, str]] = []
    slowest = 0.0
    done = 0
    for number in range(cases):
        if time.monotonic() > until:
            break
        name, data = case(kind, Seeded(f"{seed}/{kind}/{number}"))
        path = folder / name
        path.write_bytes(data)
        outcome = met(path)
        done += 1
        counts[outcome.kind] += 1
        slowest = max(slowest, outcome.seconds)
        if not outcome.fine and len(faults) < KEPT_FAULTS:
            last = outcome.said.strip().splitlines()[-1:] or [""]
            which = f"{seed}/{kind}/{number}"
            faults.append({"case": which, "kind": outcome.kind, "last": last[0]})
    return {
        "cases_asked": cases,
        "cases_run": done,
        **dict(sorted(counts.items())),
        "slowest_s": round(slowest, 2),
        "faults": faults,
    }


def main() -> int:
    """Run, print and keep the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=10_000, help="cases a format")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--formats", nargs="*", default=list(FORMATS), choices=FORMATS)
    parser.add_argument("--most-seconds", type=float, default=float("inf"), help="a format")
    parser.add_argument("--out", type=Path, default=FIGURES)
    wanted = parser.parse_args()
    load()
    kept = json.loads(wanted.out.read_text()) if wanted.out.exists() else {"formats": {}}
    kept["limits_a_case"] = {"seconds": SECONDS, "bytes": BYTES}
    bad = False
    with tempfile.TemporaryDirectory() as folder:
        for kind in wanted.formats:
            until = time.monotonic() + wanted.most_seconds
            found = run_format(kind, wanted.cases, wanted.seed, Path(folder), until)
            kept["formats"][kind] = {"seed": wanted.seed, **found}
            wanted.out.write_text(json.dumps(kept, indent=1) + "\n")
            print(kind, json.dumps({k: v for k, v in found.items() if k != "faults"}), flush=True)
            for fault in found["faults"]:  # type: ignore[attr-defined]
                print("  ", fault, flush=True)
            bad = bad or bool(found["faults"])
    return int(bad)


if __name__ == "__main__":
    sys.exit(main())
