"""Measures of the arranging stage over public-domain tunes; prints them and keeps them.

Run `python -m tests.arrange.measures --split dev --count 60`. Tunes from O'Neill 1850, Ryan's
Mammoth Collection and Aird's Airs (tests/benchmark/collections.py), each on the best setup of the
ranking. What is counted is written beside each figure in `Totals.figures`.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import time
from collections import Counter
from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from liltwright.arrange.chords import parse_symbol
from liltwright.arrange.layers import arrange_layers
from liltwright.arrange.weighed import Weigher
from liltwright.bassbeats import pulse_of
from liltwright.errors import PipelineError
from liltwright.guitar.player import Player
from liltwright.guitar.rank import rank_setups
from liltwright.tab import Arrangement, Layer, Setup, TabNote
from liltwright.tune import Tune
from tests.arrange.checker import faults
from tests.arrange.musical import count_music, shares
from tests.benchmark.collections import tunes

DADGAD = Player(tunings_used=("DADGAD",))
"""A player who says what they play."""
BASS_LAYERS = ("drone", "plain-bass", "moving-bass", "fuller")


def chord_at(layer: Layer, bar: int, start: Fraction) -> str | None:
    """Symbol in force at a moment of a bar."""
    here = [c for c in layer.chords if c.bar == bar and c.start <= start]
    return here[-1].symbol if here else None


def sounding(notes: tuple[TabNote, ...], part: str, start: Fraction) -> TabNote | None:
    """The note of a part that sounds at a moment of a bar."""
    return next(
        (n for n in notes if n.part == part and n.start <= start < n.start + n.length), None
    )


def count_beats(tune: Tune, layer: Layer, setup: Setup, counts: Counter[str]) -> None:
    """Presence of a bass and its part in the chord, on main beats under a melody note.

    No bass is playable under a melody note that only the fifth and sixth string have: the thumb
    plays it.
    """
    lowest = setup.strings_midi[2] + setup.capo
    for index, bar in enumerate(tune.written_bars()):
        if bar.kind == "pickup":
            continue
        for start in (beat for beat in pulse_of(tune).main if beat < bar.length):
            melody = sounding(layer.bars[index], "melody", start)
            if melody is None:
                continue
            bass = sounding(layer.bars[index], "bass", start)
            counts[f"{layer.name} beats"] += 1
            counts[f"{layer.name} playable"] += melody.midi >= lowest or bass is not None
            counts[f"{layer.name} present"] += bass is not None
            struck = bass is not None and bass.start == start
            counts[f"{layer.name} struck"] += struck
            symbol = chord_at(layer, index, start)
            if bass is None or not struck or symbol is None:
                continue
            chord = parse_symbol(symbol)
            supported = bass.midi % 12 in (chord.root, chord.fifth, chord.bass)
            counts[f"{layer.name} root or fifth"] += supported
            counts[f"{layer.name} and melody in chord"] += (
                supported and melody.midi % 12 in chord.tones
            )


def count_moves(tune: Tune, layer: Layer, counts: Counter[str]) -> None:
    """Steps of the bass and parallels with the melody, in performed order of one round."""
    beats: list[tuple[int, int] | None] = []
    line: list[int] = []
    for index in tune.performed_order():
        bar = tune.written_bars()[index]
        notes = layer.bars[index]
        line += [n.midi for n in notes if n.part == "bass"]
        counts["bars"] += bar.kind != "pickup"
        for start in (b for b in pulse_of(tune).main if bar.kind != "pickup" and b < bar.length):
            melody, bass = sounding(notes, "melody", start), sounding(notes, "bass", start)
            beats.append((melody.midi, bass.midi) if melody and bass else None)
    for a, b in pairwise(line):
        counts["moves"] += 1
        counts["steps"] += 0 < abs(a - b) <= 2
        counts["repeats"] += a == b
    for one, two in pairwise(beats):
        if one and two and one[0] != two[0] and one[1] != two[1]:
            interval = (one[0] - one[1]) % 12
            counts["parallels"] += interval in (0, 7) and (two[0] - two[1]) % 12 == interval


def count_fingering(arrangement: Arrangement, counts: Counter[str]) -> None:
    """Melody notes that keep string, fret and finger from each layer to the next."""
    for lower, upper in pairwise(arrangement.layers):
        for old, new in zip(lower.bars, upper.bars, strict=True):
            places = {n.start: (n.string, n.fret, n.finger) for n in old if n.part == "melody"}
            for note in (n for n in new if n.part == "melody"):
                counts["melody notes"] += 1
                place = (note.string, note.fret, note.finger)
                counts["melody kept finger"] += places.get(note.start) == place


def grows(arrangement: Arrangement) -> bool:
    """Whether no difficulty number falls from a layer to the next."""
    rows = [layer.difficulty for layer in arrangement.layers]
    return all(two[key] >= one[key] for one, two in pairwise(rows) for key in one)


def measure(
    split: str, count: int, sofar: Callable[[dict[str, float]], None] = lambda found: None
) -> dict[str, float]:
    """All figures over `count` tunes spread evenly over a split, in an order drawn once for all.

    sofar : told the figures after every 25 tunes, so that a run that is stopped is not lost
    """
    pool = tunes(split)  # type: ignore[arg-type]
    chosen = list(pool[:: max(1, len(pool) // count)][:count])
    random.Random(0).shuffle(chosen)
    counts: Counter[str] = Counter()
    seconds: list[float] = []
    rank_s: list[float] = []
    for item in chosen:
        tune = item.tune
        try:
            begun = time.process_time()
            ranking = rank_setups(tune, weigh=Weigher(tune, Player()))
            rank_s.append(time.process_time() - begun)
            ranked = ranking.setups[0]
        except (PipelineError, IndexError) as fault:
            print(item.id, "no setup:", fault)
            continue
        setup = ranked.setup
        begun = time.process_time()
        arrangement = arrange_layers(tune, setup)
        seconds.append((time.process_time() - begun) / max(len(tune.written_bars()), 1))
        wrong = faults(tune, arrangement)
        for fault in wrong[:3]:
            print(item.id, setup.tuning, setup.capo, fault)
        counts["tunes"] += 1
        counts["near ties"] += ranking.near > 1
        if counts["tunes"] % 5 == 1:
            used = rank_setups(tune, player=DADGAD, weigh=Weigher(tune, DADGAD))
            place = next((s.rank for s in used.setups if s.tuning == "DADGAD"), 999)
            counts["DADGAD players"] += 1
            counts["DADGAD among three"] += place <= 3
            counts["DADGAD among ten"] += place <= 10
        counts["faults"] += len(wrong)
        counts["growing"] += grows(arrangement)
        count_fingering(arrangement, counts)
        for reason in count_music(tune, ranked, arrangement, counts):
            print(item.id, setup.tuning, setup.capo, "promised, not heard:", reason)
        for name in BASS_LAYERS:
            count_beats(tune, arrangement.layer(name), setup, counts)
        count_moves(tune, arrangement.layer("moving-bass"), counts)
        if counts["tunes"] % 25 == 0:
            print(f"{counts['tunes']} tunes", file=sys.stderr, flush=True)
            sofar(figures(counts, seconds, rank_s))
    return figures(counts, seconds, rank_s)


def figures(counts: Counter[str], seconds: list[float], rank_s: list[float]) -> dict[str, float]:
    """Shares from counts."""
    out: dict[str, float] = {"tunes": counts["tunes"], "faults": counts["faults"]}
    out["difficulty never falls"] = counts["growing"] / counts["tunes"]
    out["melody keeps finger"] = counts["melody kept finger"] / counts["melody notes"]
    for name in BASS_LAYERS:
        beats = counts[f"{name} beats"]
        struck = max(counts[f"{name} struck"], 1)
        out[f"{name}: bass on main beats"] = counts[f"{name} present"] / beats
        playable = counts[f"{name} playable"]
        out[f"{name}: bass on main beats where playable"] = counts[f"{name} present"] / playable
        out[f"{name}: root or fifth"] = counts[f"{name} root or fifth"] / struck
        out[f"{name}: root or fifth, melody in chord"] = (
            counts[f"{name} and melody in chord"] / struck
        )
    out["moving bass: steps"] = counts["steps"] / counts["moves"]
    out["moving bass: repeated notes"] = counts["repeats"] / counts["moves"]
    out["moving bass: parallels per 32 bars"] = 32 * counts["parallels"] / counts["bars"]
    out |= shares(counts)
    out["near ties"] = counts["near ties"] / counts["tunes"]
    for name in ("DADGAD among three", "DADGAD among ten"):
        out[name] = counts[name] / counts["DADGAD players"]
    out["seconds per 32 written bars"] = 32 * sum(seconds) / len(seconds)
    out["seconds to rank"] = sum(rank_s) / len(rank_s)
    return {name: round(value, 4) for name, value in out.items()}


def main() -> None:
    """Measure, print, and with --keep write the figures beside this file."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--split", default="dev", choices=("train", "dev", "test"))
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--keep", action="store_true")
    asked = parser.parse_args()
    path = Path(__file__).with_name(f"measures-{asked.split}.json")
    command = f"python -m tests.arrange.measures --split {asked.split} --count {asked.count}"

    def keep(found: dict[str, float]) -> None:
        if asked.keep:
            kept = {"command": command, **found}
            path.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")

    found = measure(asked.split, asked.count, keep)
    for name, value in found.items():
        print(f"{value:10.4f}  {name}")
    keep(found)


if __name__ == "__main__":
    main()
