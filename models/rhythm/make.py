"""Count what tunes do with metre: `python -m models.rhythm.make` writes priors.npz and rows.json.

In: the training split of the public-domain collections (tests/benchmark/collections.py).
Out: for every tune type and metre ("row") the positions of a bar that notes start at, the moves
    between them with their probability (how long a note is, given where it starts), where a tune
    starts, and how much more often a pitch movement falls on a position than elsewhere.
Method: additive smoothing in two steps: type and metre lean on every tune of the metre, the metre
    leans on a floor that keeps every plain move possible (a note that was missed makes a long
    one). A tick is 1/96 of a whole note: quaver 12, semiquaver 6, triplet quaver 8.
"""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from pipeline.keys import pitch_class
from pipeline.notate.moves import MOVE_CLASSES, move_classes
from tests.benchmark.collections import tunes
from tests.benchmark.timeline import whole_round

HERE = Path(__file__).parent
TICKS = 96
QUAVER = 12
LATE = 0.06
"""Share of recordings that begin somewhere inside a bar; a guess."""

BORROWED = {  # rows without tunes of their own, and whose tunes they are counted from
    ("hop jig", "9/8"): ("slip jig", "9/8"),
    ("mazurka", "3/4"): ("waltz", "3/4"),
    ("slide", "12/8"): ("slide", "6/8"),
    ("polka", "2/4"): ("polka", "2/4"),
    ("march", "6/8"): ("march", "6/8"),
}
ROWS = (
    ("reel", "4/4"), ("hornpipe", "4/4"), ("barn dance", "4/4"), ("strathspey", "4/4"),
    ("march", "4/4"), ("air", "4/4"), ("polka", "2/4"), ("march", "2/4"),
    ("jig", "6/8"), ("slide", "6/8"), ("march", "6/8"), ("air", "6/8"), ("slide", "12/8"),
    ("slip jig", "9/8"), ("hop jig", "9/8"), ("waltz", "3/4"), ("mazurka", "3/4"), ("air", "3/4"),
)  # fmt: skip


@dataclass(frozen=True)
class Line:
    """One round of a tune in ticks."""

    onsets: np.ndarray
    midi: np.ndarray
    tonic: int
    minorish: bool


def main() -> None:
    """Count, smooth and write."""
    lines = _lines()
    pools: dict[str, list[Line]] = defaultdict(list)
    for (_, meter), these in lines.items():
        pools[meter] += these
    pools["12/8"] = [_twice(line) for line in lines["slide", "6/8"]]
    lines["slide", "12/8"] = pools["12/8"]
    rows = [_row(kind, meter, lines, pools) for kind, meter in ROWS]
    arrays = {
        f"{kind}|{meter}|{name}": array
        for (kind, meter), row in zip(ROWS, rows, strict=True)
        for name, array in row.items()
    }
    np.savez_compressed(HERE / "priors.npz", allow_pickle=False, **arrays)
    counts = {f"{k}|{m}": len(lines.get(BORROWED.get((k, m), (k, m)), [])) for k, m in ROWS}
    (HERE / "rows.json").write_text(json.dumps({"tunes": counts}, indent=1) + "\n")
    print(counts)


def _lines() -> dict[tuple[str, str], list[Line]]:
    found: dict[tuple[str, str], list[Line]] = defaultdict(list)
    for item in tunes("train"):
        laid = whole_round(item.tune)
        if laid is None:
            continue
        onsets = np.array([float(note.position * TICKS) for note in laid[0]])
        if np.any(onsets != np.round(onsets)):
            continue
        midi = np.array([note.midi for note in laid[0]])
        line = Line(
            onsets.astype(int), midi, pitch_class(item.tune.tonic), item.tune.mode == "minor"
        )
        found[item.tune.tune_type, item.tune.meter].append(line)
    return found


def _twice(line: Line) -> Line:
    """6/8 read as 12/8: nothing changes but the bar."""
    return line


def _row(
    kind: str,
    meter: str,
    lines: dict[tuple[str, str], list[Line]],
    pools: dict[str, list[Line]],
) -> dict[str, np.ndarray]:
    bar = int(Fraction(meter) * TICKS)
    own = lines.get(BORROWED.get((kind, meter), (kind, meter)), [])
    pool = pools[meter] if kind != "air" else own
    positions = _positions(pools[meter], bar)
    moves = _moves(own, pool, positions, bar)
    return {
        "positions": positions,
        **_padded(moves, positions, bar),
        "start": _start(own, pool, positions, bar),
        "movement": _movement(own, pool, positions, bar),
    }


def _positions(pool: list[Line], bar: int) -> np.ndarray:
    counts = Counter(int(p) for line in pool for p in line.onsets % bar)
    total = sum(counts.values())
    kept = {p for p, n in counts.items() if n >= 3e-4 * total} | set(range(0, bar, QUAVER // 2))
    return np.array(sorted(kept))


def _moves(
    own: list[Line], pool: list[Line], positions: np.ndarray, bar: int
) -> dict[tuple[int, int], float]:
    """log P(length | position): (position, length) in ticks."""
    legal = set(positions.tolist())
    here, wide = _move_counts(own, bar), _move_counts(pool, bar)
    result: dict[tuple[int, int], float] = {}
    for p in sorted(legal):
        lengths = [d for d in range(1, bar + 1) if (p + d) % bar in legal]
        floor = {d: 0.02 if d % QUAVER == 0 and p % QUAVER == 0 else 0.0005 for d in lengths}
        seen = sum(wide[p, d] for d in lengths)
        middle = {
            d: (wide[p, d] + 8 * floor[d]) / (seen + 8 * sum(floor.values())) for d in lengths
        }
        mine = sum(here[p, d] for d in lengths)
        for d in lengths:
            chance = (here[p, d] + 20 * middle[d]) / (mine + 20)
            if wide[p, d] >= 3 or (d % (QUAVER // 2) == 0 and p % (QUAVER // 2) == 0):
                result[p, d] = float(np.log(0.998 * chance + 0.002 * floor[d]))
    return result


def _move_counts(lines: Iterable[Line], bar: int) -> Counter[tuple[int, int]]:
    counts: Counter[tuple[int, int]] = Counter()
    for line in lines:
        steps = np.minimum(np.diff(line.onsets), bar)
        counts.update(zip((line.onsets[:-1] % bar).tolist(), steps.tolist(), strict=True))
    return counts


def _padded(
    moves: dict[tuple[int, int], float], positions: np.ndarray, bar: int
) -> dict[str, np.ndarray]:
    """By target position: index of the source, length in ticks, log probability; -inf pads."""
    index = {int(p): i for i, p in enumerate(positions)}
    into: list[list[tuple[int, int, float]]] = [[] for _ in positions]
    for (p, d), logp in moves.items():
        into[index[(p + d) % bar]].append((index[p], d, logp))
    width = max(map(len, into))
    shape = (len(positions), width)
    source, length = np.zeros(shape, np.int16), np.ones(shape, np.int16)
    chance = np.full(shape, -np.inf, np.float32)
    for row, arcs in enumerate(into):
        for column, (src, d, value) in enumerate(sorted(arcs, key=lambda arc: -arc[2])):
            source[row, column], length[row, column], chance[row, column] = src, d, value
    return {"source": source, "length": length, "logp": chance}


def _start(own: list[Line], pool: list[Line], positions: np.ndarray, bar: int) -> np.ndarray:
    index = {int(p): i for i, p in enumerate(positions)}
    counts = np.full(len(positions), 0.02)
    for weight, lines in ((1.0, own), (0.1, pool)):
        for line in lines:
            if int(line.onsets[0] % bar) in index:
                counts[index[int(line.onsets[0] % bar)]] += weight
    anywhere = (positions % QUAVER == 0) / (bar // QUAVER)
    chance = (1 - LATE) * counts / counts.sum() + LATE * anywhere
    return np.log(chance).astype(np.float32)


def _movement(own: list[Line], pool: list[Line], positions: np.ndarray, bar: int) -> np.ndarray:
    """log P(movement into and out of a note | position) / P(movement), shape (P, M, M)."""
    wide = _movement_counts(pool, positions, bar)
    here = _movement_counts(own, positions, bar)
    every = wide.sum(0) + 0.5
    marginal = every / every.sum()
    middle = (wide + 40 * marginal) / (wide.sum((1, 2), keepdims=True) + 40)
    mine = (here + 150 * middle) / (here.sum((1, 2), keepdims=True) + 150)
    marginal_mine = (here.sum(0) + 150 * marginal) / (here.sum() + 150)
    return np.log(mine / marginal_mine).astype(np.float32)


def _movement_counts(lines: Iterable[Line], positions: np.ndarray, bar: int) -> np.ndarray:
    index = {int(p): i for i, p in enumerate(positions)}
    counts = np.zeros((len(positions), MOVE_CLASSES, MOVE_CLASSES))
    for line in lines:
        classes = move_classes(line.midi)
        for p, before, after in zip(
            (line.onsets[1:-1] % bar).tolist(), classes[:-1], classes[1:], strict=True
        ):
            if p in index:
                counts[index[p], before, after] += 1
    return counts


if __name__ == "__main__":
    main()
