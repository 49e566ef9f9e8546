"""Task: measure the guitar stage on public-domain tunes.

In: the collections (tests.benchmark.collections).
Out: figures on stdout and in figures/guitar.json; exit code 1 when a floor is undercut.
Method:
    fingering  300 tunes of all splits on their three best setups, judged by the independent checker
               of tests/guitar; the optimum of tunes of the test split proved again by an
               independent step-by-step search with costs read from the table alone
    facts      what players know (common practice), on the test split: never used for tuning
    speed      ranking of the catalogue, of every key and of all tunings for 8, 32 and 128 bars, as
               processor seconds of one process, warm; peak memory
Command: `python -m tests.benchmark.guitar` (about five minutes), `--quick` for a short look
    at the dev split.
"""

from __future__ import annotations

import json
import platform
import resource
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from math import inf
from pathlib import Path
from typing import Any

from liltwright.guitar.fingering import finger_melody, finger_stops
from liltwright.guitar.fretboard import last_fret
from liltwright.guitar.melody import line_of
from liltwright.guitar.player import Player
from liltwright.guitar.rank import RankSettings, rank_setups
from liltwright.guitar.shortlist import shortlist
from liltwright.keys import signature_of
from liltwright.tab import Ranking, Setup
from liltwright.tune import Part, Tune
from tests.benchmark.collections import as_mode, tunes
from tests.guitar.checker import hand_faults, layer_faults
from tests.guitar.reference import cheapest_step_by_step

HERE = Path(__file__).parent
KEYS = (
    ("D", "major"), ("D", "mixolydian"), ("G", "major"), ("A", "major"), ("A", "mixolydian"),
    ("A", "dorian"), ("E", "minor"), ("E", "dorian"),
)  # fmt: skip
FLOORS = {
    "faults": 0,
    "optimum_missed": 0,
    "g_dadgad_5": 0.8,
    "d_low_d_in_five": 0.9,
    "catalogue_32_bars_s": 2.0,
    "every_key_32_bars_s": 2.0,
    "free_32_bars_s": 60.0,
    "memory_mb": 500,
}


def check_fingering(count: int, proofs: int) -> dict[str, Any]:
    """Faults on `count` tunes x 3 setups; optima proved on `proofs` tunes of the test split."""
    items = tunes()
    chosen = items[:: max(1, len(items) // count)][:count]
    faults: list[str] = []
    setups = 0
    for item in chosen:
        for ranked in shortlist(rank_setups(item.tune).setups, 3):
            layer = finger_melody(item.tune, ranked.setup)
            found = layer_faults(item.tune, ranked.setup, layer)
            found += hand_faults(finger_stops(item.tune, ranked.setup)[0], ranked.capo)
            faults += [f"{item.id} {ranked.tuning} capo {ranked.capo}: {f}" for f in found]
            setups += 1
    tested = tunes("test")
    missed = 0
    for item in tested[:: max(1, len(tested) // proofs)][:proofs]:
        setup = rank_setups(item.tune).setups[0].setup
        missed += finger_stops(item.tune, setup)[1] != proved_optimum(item.tune, setup)
    return {
        "tunes": len(chosen), "setups": setups, "faults": len(faults), "first_faults": faults[:5],
        "optima_proved": proofs, "optimum_missed": missed,
    }  # fmt: skip


def proved_optimum(tune: Tune, setup: Setup) -> int:
    """The least ticks by the independent search."""
    line, player = line_of(tune), Player()
    up = setup.capo - setup.transpose
    return cheapest_step_by_step(
        list(line.midi), list(line.seconds), list(line.gap_s), list(line.on_beat),
        [midi + up for midi in setup.strings_midi],
        last_fret(setup.capo, body_fret=player.body_fret, past_body=player.past_body),
        player.body_fret + player.past_body,
    )  # fmt: skip


def tunes_by_key(split: str, each: int) -> dict[tuple[str, str], list[Tune]]:
    """Tunes of each of KEYS; modal ones also made from major and minor ones."""
    found: dict[tuple[str, str], list[Tune]] = defaultdict(list)
    for item in tunes(split):  # type: ignore[arg-type]
        if item.key_sure:
            found[item.tune.tonic, item.tune.mode].append(item.tune)
    for tonic, mode in KEYS:
        source, seventh, sixth = {"mixolydian": ("major", -1, 0), "dorian": ("minor", 0, 1)}.get(
            mode, ("", 0, 0)
        )
        for tune in found[tonic, source] if source else []:
            changed = as_mode(tune, seventh, sixth)
            found[tonic, mode].append(
                replace(changed, mode=mode, signature=signature_of(tonic, mode))  # type: ignore[arg-type]
            )
    return {key: found[key][:each] for key in KEYS}


def check_facts(split: str, each: int) -> dict[str, Any]:
    """Shares of a split's tunes on which the trade facts hold."""
    rankings = {
        key: [rank_setups(tune) for tune in these]
        for key, these in tunes_by_key(split, each).items()
    }

    def place(r: Ranking, tuning: str, capo: int) -> float:
        return min((s.rank for s in r.setups if (s.tuning, s.capo) == (tuning, capo)), default=inf)

    def share(fact: Callable[[Ranking], bool], *keys: str) -> float:
        rows = [r for key, rows in rankings.items() if " ".join(key) in keys for r in rows]
        return round(sum(map(fact, rows)) / len(rows), 3)

    in_d, in_a = ("D major", "D mixolydian"), ("A major", "A mixolydian", "A dorian")
    return {
        "tunes": {" ".join(key): len(rows) for key, rows in rankings.items()},
        "g_dadgad_5": share(
            lambda r: place(r, "DADGAD", 5) < min(place(r, "DADGAD", 0), place(r, "standard", 0)),
            "G major",
        ),
        "d_low_d_in_five": share(
            lambda r: min(place(r, "DADGAD", 0), place(r, "drop D", 0)) <= 5, *in_d
        ),
        "d_drop_d_over_standard": share(
            lambda r: place(r, "drop D", 0) < place(r, "standard", 0), *in_d
        ),
        "a_dadgad_7_over_0": share(lambda r: place(r, "DADGAD", 7) < place(r, "DADGAD", 0), *in_a),
        "e_dadgad_2_over_0": share(
            lambda r: place(r, "DADGAD", 2) < place(r, "DADGAD", 0), "E minor", "E dorian"
        ),
        "top_three_stable": round(
            sum(min(r.robustness.values()) for rows in rankings.values() for r in rows)
            / sum(map(len, rankings.values())),
            3,
        ),
    }


def long_tune(bars: int) -> Tune:
    """Reels in G one after another, cut to a number of bars."""
    reels = [
        item.tune
        for item in tunes()
        if (item.tune.tonic, item.tune.mode, item.tune.tune_type) == ("G", "major", "reel")
    ]
    found = [
        bar.notes
        for tune in reels
        for bar in tune.written_bars()
        if bar.kind == "bar" and bar.length == 1 and bar.notes
        and all(60 <= note.midi <= 83 for note in bar.notes)
    ]  # fmt: skip
    return replace(reels[0], parts=(Part("A", 1, bars=tuple(found[:bars])),), form="A")


def check_speed(free: bool) -> dict[str, Any]:
    """Processor seconds by number of bars; peak memory of the process."""
    out: dict[str, Any] = {}
    rank_setups(long_tune(8))
    kinds = {"catalogue": RankSettings(), "every_key": RankSettings(keys="any")}
    if free:
        kinds["free"] = RankSettings(free=True)
    for name, settings in kinds.items():
        for bars in (8, 32, 128):
            tune = long_tune(bars)
            start = time.process_time()
            ranking = rank_setups(tune, settings=settings)
            out[f"{name}_{bars}_bars_s"] = round(time.process_time() - start, 2)
        out[f"{name}_searched"] = ranking.searched
    out["memory_mb"] = round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    return out


def main() -> int:
    """Measure, print, write, compare with the floors."""
    quick = "--quick" in sys.argv
    speed = check_speed(free=not quick)
    figures = {
        "command": "python -m tests.benchmark.guitar",
        "commit": subprocess.run(
            ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
        ).stdout.strip(),
        "python": platform.python_version(),
        "speed": speed,
        "fingering": check_fingering(20 if quick else 300, 5 if quick else 60),
        "facts": check_facts("dev", 3) if quick else check_facts("test", 20),
    }
    text = json.dumps(figures, indent=1) + "\n"
    print(text)
    if not quick:
        (HERE / "figures" / "guitar.json").write_text(text, encoding="utf-8")
    flat = {**speed, **figures["fingering"], **figures["facts"]}  # type: ignore[dict-item]
    missed = [
        name
        for name, floor in FLOORS.items()
        if name in flat
        and (
            flat[name] < floor if name in ("g_dadgad_5", "d_low_d_in_five") else flat[name] > floor
        )
    ]
    print("Below the floor: " + ", ".join(missed) if missed else "Every floor is kept.")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
