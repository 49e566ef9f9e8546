"""What the line of a dance tune looks like, counted: `python -m liltwright.models.parting.make`.

In:  the training split of the public-domain collections (tests/benchmark/collections.py).
Out: line.json: for each metre and place in the bar the share of chances at which a tune note
     begins, by how long ago the last one began; and the share of every interval.
"""

import json
import math
from collections import Counter
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from tests.benchmark.collections import tunes

STEP = Fraction(1, 16)
METERS = ("4/4", "2/4", "6/8", "9/8", "3/4")
LONGEST = 16
WIDEST = 24
SMOOTH = 4.0


def main() -> None:
    """Count and write."""
    begun: Counter[tuple[str, int, int]] = Counter()
    chances: Counter[tuple[str, int, int]] = Counter()
    intervals: Counter[int] = Counter()
    for item in tunes("train"):
        tune = item.tune
        if tune.meter not in METERS:
            continue
        onsets, pitches = _line(tune)
        intervals.update(min(abs(b - a), WIDEST) for a, b in pairwise(pitches))
        slots = int(tune.bar_length / STEP)
        for before, after in pairwise(onsets):
            for slot in range(before + 1, min(after, before + LONGEST) + 1):
                key = (tune.meter, slot % slots, slot - before)
                chances[key] += 1
                begun[key] += slot == after
    begins = {}
    for meter in METERS:
        slots = int(Fraction(meter) / STEP)
        begins[meter] = [
            [
                round(
                    (begun[meter, place, gap] + SMOOTH / 2) / (chances[meter, place, gap] + SMOOTH),
                    4,
                )
                for gap in range(1, LONGEST + 1)
            ]
            for place in range(slots)
        ]
    total = sum(intervals.values())
    steps = [
        round(-math.log((intervals[n] + 2) / (total + 2 * WIDEST)), 3) for n in range(WIDEST + 1)
    ]
    text = json.dumps({"step": str(STEP), "begins": begins, "interval_nats": steps}) + "\n"
    Path(__file__).with_name("line.json").write_text(text, encoding="utf-8")


def _line(tune):  # type: ignore[no-untyped-def]
    """Slots of the onsets that fall on one, counted from the first bar line, and all pitches."""
    now = Fraction(0)
    onsets, pitches = [], []
    for bar in tune.written_bars():
        if bar.kind == "pickup":
            continue
        for note in bar.notes:
            slot = (now + note.start) / STEP
            pitches.append(note.midi)
            if slot.denominator == 1:
                onsets.append(int(slot))
        now += tune.bar_length
    return onsets, pitches


if __name__ == "__main__":
    main()
