"""A blind page: our bass beside three simple ones, without names, for people to choose from.

    python -m tests.benchmark.blind make --out blind --tunes 12 --seed 1
    python -m tests.benchmark.blind count blind/key.json answers-1.txt answers-2.txt

`make` writes blind/page.html (one file, with sound) and blind/key.json, which the listener must not
see. Of each tune the first part is heard four times under one melody: with our moving bass, with
roots alone, with the drone, and with a random walk in the key, in an order that the seed shuffles.
At the end the page shows a line of answers to copy into a file. `count` says how often each was
called best and worst, with a binomial test of our bass against chance (one in four).
Tunes: public-domain collections, test split (tests/benchmark/collections.py), spread evenly.
"""

from __future__ import annotations

import argparse
import base64
import html
import json
import random
from collections import Counter
from dataclasses import replace
from math import comb
from pathlib import Path

import numpy as np

from liltwright.arrange.assemble import Ground
from liltwright.arrange.fingered import bass_tables, melody_path
from liltwright.arrange.harmony import harmonise
from liltwright.arrange.layers import arrange_layers
from liltwright.arrange.moments import Tables
from liltwright.arrange.tab import Below, tab_bars
from liltwright.arrange.voices import Melody, melody_of, ring
from liltwright.errors import PipelineError
from liltwright.guitar.player import Player
from liltwright.guitar.rank import rank_setups
from liltwright.guitar.states import NEVER
from liltwright.keys import pitch_class, scale_steps
from liltwright.tab import Arrangement, Layer
from liltwright.tune import Tune
from liltwright.write.sound.encode import encode_audio
from liltwright.write.sound.synth import layer_audio
from tests.benchmark.collections import tunes

KINDS = ("ours", "roots", "drone", "random")
WIDEST_MM = 110.0
STEP = 4
"""Semitones that the random walk goes at most."""


def first_part(tune: Tune) -> Tune:
    """The tune's first part, once through."""
    part = tune.parts[0]
    endings = tuple(replace(one, times=(1,)) for one in part.endings[:1])
    return replace(tune, parts=(replace(part, repeats=1, endings=endings),), form=part.name)


def versions(tune: Tune) -> tuple[Tune, dict[str, Arrangement]]:
    """The first part with four basses under one melody as it is fingered."""
    tune = first_part(tune)
    setup = rank_setups(tune).setups[0].setup
    ours = arrange_layers(tune, setup)
    ground = Ground(tune, setup, Player())
    harmony = harmonise(tune, transpose=setup.transpose)
    tables = bass_tables(ground, harmony, None)
    melody = melody_of(melody_path(ground, tables, harmony), tables)
    tonic = pitch_class(setup.sounds_in.tonic)
    scale = {(tonic + step) % 12 for step in scale_steps(setup.sounds_in.mode)}
    lines = {"roots": roots(tables, melody), "random": random_walk(tables, melody, scale)}
    made = {"ours": ours, "drone": with_bass(ours, ours.layer("drone"))}
    plucks = ["i"] * len(melody.stops)
    for name, below in lines.items():
        bars = tab_bars(
            tables.line,
            melody.stops,
            plucks,  # type: ignore[arg-type]
            below,
            bars=len(tune.written_bars()),
            transpose=setup.transpose,
        )
        made[name] = with_bass(ours, Layer("moving-bass", bars))
    return tune, made


def with_bass(arrangement: Arrangement, layer: Layer) -> Arrangement:
    """The arrangement with this layer alone, under the name of the moving bass."""
    return replace(arrangement, layers=(replace(layer, name="moving-bass"),), lines=())


def can_strike(tables: Tables, melody: Melody, number: int) -> np.ndarray:
    """Which ways one hand can strike beside the melody, whatever they sound."""
    event = tables.line.events[number]
    held = tables.held(event, np.array([melody.indices[event.note]]))[0]
    busy = event.onset and melody.stops[event.note].string >= 4
    return (held < NEVER) & (not busy)


def roots(tables: Tables, melody: Melody) -> list[Below]:
    """The chord's lowest root on every main beat."""
    chosen = {}
    for number, event in enumerate(tables.line.events):
        if event.slot == "main" and event.span is not None:
            fits = can_strike(tables, melody, number)
            fits &= tables.spots.midi % 12 == event.span.chord.root
            if fits.any():
                chosen[number] = int(np.flatnonzero(fits)[0])
    return rung(tables, melody, chosen)


def random_walk(tables: Tables, melody: Melody, scale: set[int]) -> list[Below]:
    """Notes of the key on main beats and, every other time, between them, never far apart."""
    draw = random.Random(7)
    chosen: dict[int, int] = {}
    last = int(tables.spots.midi.min())
    for number, event in enumerate(tables.line.events):
        if not event.slot or event.span is None or (event.slot == "walk" and draw.random() < 0.5):
            continue
        fits = can_strike(tables, melody, number) & np.isin(tables.spots.midi % 12, list(scale))
        near = np.flatnonzero(fits & (np.abs(tables.spots.midi - last) <= STEP))
        if len(near):
            chosen[number] = int(draw.choice(near.tolist()))
            last = int(tables.spots.midi[chosen[number]])
    return rung(tables, melody, chosen)


def rung(tables: Tables, melody: Melody, chosen: dict[int, int]) -> list[Below]:
    """The notes with as long a ring as the hand allows."""
    numbers = sorted(chosen)
    found = []
    for number, until in zip(numbers, [*numbers[1:], len(tables.line.events)], strict=True):
        string, fret, finger = (int(x) for x in tables.spots.held[chosen[number]])
        midi = int(tables.spots.midi[chosen[number]])
        note = Below(number, string, fret, finger, midi, tables.line.events[number].length)
        length = ring(note, tables, melody, until=until, widest_mm=WIDEST_MM)
        found.append(replace(note, length=length))
    return found


PAGE = """<!doctype html><html lang="en"><meta charset="utf-8"><title>Which bass?</title>
<style>body{font:16px/1.5 serif;max-width:46rem;margin:2rem auto;padding:0 1rem}
fieldset{margin:1rem 0}audio{vertical-align:middle}textarea{width:100%}</style>
<h1>Which bass?</h1>
<p>Each tune is heard four times with the same melody and four different basses. Listen to all,
then say which you would play and which you would not. There is no right answer. At the end, copy
the line of answers and send it back.</p>
TUNES
<h2>Answers</h2><textarea id="out" rows="4" readonly></textarea>
<script>
function tell(){const found={};document.querySelectorAll("fieldset").forEach(f=>{
const pick=k=>{const c=f.querySelector(`input[name="${f.id}-${k}"]:checked`);return c?c.value:""};
found[f.id]={best:pick("best"),worst:pick("worst")}});
document.getElementById("out").value=JSON.stringify(found)}
document.addEventListener("change",tell);tell();
</script></html>
"""


def make(out: Path, count: int, seed: int) -> None:
    """Write page and key."""
    draw = random.Random(seed)
    pool = tunes("test")
    out.mkdir(parents=True, exist_ok=True)
    shown: list[str] = []
    key: dict[str, list[str]] = {}
    for item in pool[:: max(1, len(pool) // (count * 2))]:
        if len(shown) == count:
            break
        try:
            tune, made = versions(item.tune)
        except PipelineError as fault:
            print(item.id, fault)
            continue
        order = list(KINDS)
        draw.shuffle(order)
        name = f"t{len(shown) + 1}"
        key[name] = order
        shown.append(_tune_html(name, len(shown) + 1, tune, [made[kind] for kind in order]))
        print(name, item.id)
    page = PAGE.replace("TUNES", "\n".join(shown))
    (out / "page.html").write_text(page, encoding="utf-8")
    (out / "key.json").write_text(json.dumps(key, indent=1) + "\n", encoding="utf-8")


def _tune_html(name: str, number: int, tune: Tune, made: list[Arrangement]) -> str:
    rows = []
    for letter, arrangement in zip("1234", made, strict=True):
        sound = layer_audio(tune, arrangement, "moving-bass")
        data = base64.b64encode(encode_audio(sound.samples, sound.sample_rate, "ogg")).decode()
        rows.append(
            f'<p>{letter} <audio controls src="data:audio/ogg;base64,{data}"></audio> '
            f'<label><input type="radio" name="{name}-best" value="{letter}"> best</label> '
            f'<label><input type="radio" name="{name}-worst" value="{letter}"> worst</label></p>'
        )
    title = f"Tune {number}, a {html.escape(tune.tune_type)}"
    return f'<fieldset id="{name}"><legend>{title}</legend>{"".join(rows)}</fieldset>'


def tally(key: dict[str, list[str]], answers: list[dict[str, dict[str, str]]]) -> dict[str, float]:
    """How often each kind was called best and worst, and how likely ours is by chance."""
    best: Counter[str] = Counter()
    worst: Counter[str] = Counter()
    for answer in answers:
        for name, said in answer.items():
            for counted, word in ((best, "best"), (worst, "worst")):
                if said.get(word):
                    counted[key[name][int(said[word]) - 1]] += 1
    total = sum(best.values())
    chance = sum(
        comb(total, k) * 0.25**k * 0.75 ** (total - k) for k in range(best["ours"], total + 1)
    )
    found: dict[str, float] = {f"{kind} best": best[kind] for kind in KINDS}
    found |= {f"{kind} worst": worst[kind] for kind in KINDS}
    return found | {"answers": total, "ours as often by chance": round(chance, 4)}


def main() -> None:
    """Make a page, or count answers."""
    parser = argparse.ArgumentParser(description=__doc__)
    words = parser.add_subparsers(dest="what", required=True)
    making = words.add_parser("make")
    making.add_argument("--out", type=Path, default=Path("blind"))
    making.add_argument("--tunes", type=int, default=12)
    making.add_argument("--seed", type=int, default=1)
    counting = words.add_parser("count")
    counting.add_argument("key", type=Path)
    counting.add_argument("answers", type=Path, nargs="+")
    asked = parser.parse_args()
    if asked.what == "make":
        make(asked.out, asked.tunes, asked.seed)
        return
    answers = [json.loads(path.read_text(encoding="utf-8")) for path in asked.answers]
    for name, value in tally(json.loads(asked.key.read_text(encoding="utf-8")), answers).items():
        print(f"{value:10g}  {name}")


if __name__ == "__main__":
    main()
