"""Learn how a bass goes on from four-part chorales; writes leading.json beside itself.

Run `python -m liltwright.models.leading.make`. Data: the chorales of J. S. Bach (died 1750, public
domain) that the music21 package carries. Every fifth chorale in the order of names is held out.
"""

from __future__ import annotations

import json
import math
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).parent
TRIADS = {"major": (0, 4, 7), "minor": (0, 3, 7), "diminished": (0, 3, 6)}
WIDEST = 12
PLACES = ("goal", "beat", "walk")
"""On a beat with a new root; on a beat with the same root; between beats."""
BEFORE = ("none", "same", "step up", "step down", "leap up", "leap down")
Move = tuple[str, str, int, int]
"""Place, how the bass came here, the next interval, where the melody goes (1, 0, -1)."""


def came(interval: int | None) -> str:
    """The kind of the interval before."""
    if interval is None:
        return "none"
    if not interval:
        return "same"
    return f"{'step' if abs(interval) <= 2 else 'leap'} {'up' if interval > 0 else 'down'}"


def root_of(tones: set[int], bass: int) -> int:
    """Root of the triad that fits sounding pitch classes best; the bass decides between equals."""
    best, found = -99.0, bass % 12
    for root in range(12):
        for steps in TRIADS.values():
            chord = {(root + step) % 12 for step in steps}
            score = len(chord & tones) - len(tones - chord) + 0.3 * (root == bass % 12)
            if score > best:
                best, found = score, root
    return found


def moves_of(path: Path) -> list[Move]:
    """The moves of the bass of one chorale; nothing where it is not in four parts."""
    from music21 import converter

    parts = list(converter.parse(path).parts)
    if len(parts) != 4:
        return []
    voices = [
        [
            (float(n.offset), float(n.offset + n.quarterLength), int(n.pitch.midi))
            for n in part.flatten().notes
            if n.isNote and n.quarterLength > 0
        ]
        for part in parts
    ]

    def sounding(voice: int, at: float) -> int | None:
        return next((m for a, b, m in voices[voice] if a <= at < b), None)

    found: list[Move] = []
    last: int | None = None
    interval: int | None = None
    root: int | None = None
    above: int | None = None
    for start, _, midi in voices[3]:
        if (start * 2) % 1:
            continue
        tones = {m % 12 for v in range(4) if (m := sounding(v, start)) is not None}
        here, soprano = root_of(tones, midi), sounding(0, start)
        place = "walk" if start % 1 else "goal" if here != root else "beat"
        if last is not None and abs(midi - last) <= WIDEST:
            way = 0
            if soprano is not None and above is not None:
                way = (soprano > above) - (soprano < above)
            found.append((place, came(interval), midi - last, way))
        interval = None if last is None else midi - last
        last, above = midi, soprano
        root = here if place != "walk" else root
    return found


def chorales() -> Iterator[tuple[str, list[Move]]]:
    """Name and moves of every chorale, in the order of names."""
    from music21 import corpus

    for path in sorted(corpus.getComposer("bach"), key=lambda one: Path(one).name):
        try:
            moves = moves_of(Path(path))
        except Exception as fault:  # a file that music21 itself cannot read
            print("left out:", Path(path).name, type(fault).__name__)
            continue
        if moves:
            yield Path(path).name, moves


def table_of(moves: list[Move]) -> dict[str, dict[str, list[float]]]:
    """Negative log-likelihood in nats of each interval from -12 to 12, by place and what came.

    Add-one smoothing towards the place alone (weight 20), which is smoothed towards evenness.
    """
    alone: dict[str, Counter[int]] = defaultdict(Counter)
    pairs: dict[tuple[str, str], Counter[int]] = defaultdict(Counter)
    for place, before, interval, _ in moves:
        alone[place][interval] += 1
        pairs[place, before][interval] += 1
    size = 2 * WIDEST + 1
    out: dict[str, dict[str, list[float]]] = {}
    for place in PLACES:
        total = sum(alone[place].values())
        base = [(alone[place][i] + 0.5) / (total + 0.5 * size) for i in range(-WIDEST, WIDEST + 1)]
        out[place] = {}
        for before in BEFORE:
            count = pairs[place, before]
            whole = sum(count.values()) + 20.0
            row = [
                -math.log((count[i] + 20.0 * base[i + WIDEST]) / whole)
                for i in range(-WIDEST, WIDEST + 1)
            ]
            out[place][before] = [round(value, 3) for value in row]
    return out


def contrary(moves: list[Move]) -> dict[str, float]:
    """Nats by which going against the melody is likelier than going with it."""
    found = {}
    for place in PLACES:
        both = [(i > 0) - (i < 0) == -way for p, _, i, way in moves if p == place and i and way]
        share = (sum(both) + 1) / (len(both) + 2)
        found[place] = round(math.log(share / (1 - share)), 3)
    return found


def nats(moves: list[Move], table: dict[str, dict[str, list[float]]]) -> float:
    """Mean negative log-likelihood of a move."""
    total = sum(table[place][before][i + WIDEST] for place, before, i, _ in moves)
    return total / len(moves)


def without_before(moves: list[Move]) -> dict[str, dict[str, list[float]]]:
    """The table that forgets what came before."""
    plain = [(place, "none", interval, way) for place, _, interval, way in moves]
    table = table_of(plain)
    return {place: dict.fromkeys(BEFORE, rows["none"]) for place, rows in table.items()}


def by_rules(moves: list[Move]) -> dict[str, dict[str, list[float]]]:
    """The hand-set step sizes of models/bass/costs.json, with the temperature that fits best."""
    line = json.loads((HERE.parent / "bass" / "costs.json").read_text())["line"]
    best: tuple[float, dict[str, dict[str, list[float]]]] = (math.inf, {})
    for sharp in (0.5, 1, 2, 3, 4, 6, 8, 12, 16):
        table = {}
        for place in PLACES:
            sizes = [*line["sizes"][place], line["sizes"]["beyond"]]
            cost = [sharp * sizes[min(abs(i), len(sizes) - 1)] for i in range(-WIDEST, WIDEST + 1)]
            norm = math.log(sum(math.exp(-one) for one in cost))
            table[place] = {before: [one + norm for one in cost] for before in BEFORE}
        value = nats(moves, table)
        if value < best[0]:
            best = (value, table)
    return best[1]


def main() -> None:
    """Learn, judge on what is held out, write."""
    rows = list(chorales())
    learned = [m for at, (_, moves) in enumerate(rows) if at % 5 for m in moves]
    held = [m for at, (_, moves) in enumerate(rows) if not at % 5 for m in moves]
    table = table_of(learned)
    figures = {
        "chorales": len(rows),
        "moves learned from": len(learned),
        "moves held out": len(held),
        "even": round(math.log(2 * WIDEST + 1), 3),
        "rules": round(nats(held, by_rules(learned)), 3),
        "without what came": round(nats(held, without_before(learned)), 3),
        "learned": round(nats(held, table), 3),
    }
    print(json.dumps(figures, indent=1))
    content = {"intervals": table, "contrary": contrary(learned), "figures": figures}
    (HERE / "leading.json").write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
