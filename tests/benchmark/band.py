"""How well the lead of a band is followed: python -m tests.benchmark.band --split dev --count 24

In     : a split of the collections; mixtures of tests.benchmark.band_mix, rendered by FluidR3.
Out    : a table on stdout and tests/benchmark/figures/NAME.json.
Method : every mixture is heard by the program as a user has it (it finds out itself whether a band
         plays), by its two ears on their own and, on the first 20 s, by the general trackers of
         tests.benchmark.baselines, all in one process. Sets of two tunes: whether the change is
         found within two bars.
References: mir_eval (melody and transcription); the trackers as named in baselines.py.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from liltwright.errors import PipelineError
from liltwright.hear.audio.recording import Audio, audio_from_samples
from liltwright.hear.listen import hear
from liltwright.hear.settings import HearSettings, Players
from liltwright.hear.takes import split_takes
from liltwright.notate.notate import notate
from liltwright.tune import Heard, Tune
from tests.benchmark.band_mix import Mixture, mixture
from tests.benchmark.score_lead import score_lead
from tests.benchmark.score_tune import score_tune

FIGURES = Path(__file__).parent / "figures"
BASELINE_S = 20.0
EARS: dict[str, Players] = {"as found out": "find out", "band's ear": "band", "solo ear": "solo"}
MEASURES = ("f1", "f1_player", "f1_any_octave", "rpa", "rpa_player", "rca")


def row_of(mixed: Mixture, *, baselines: bool) -> dict[str, Any]:
    """All scores of one mixture of one tune."""
    audio = audio_from_samples(mixed.samples, mixed.rate)
    row: dict[str, Any] = {
        "name": mixed.name, "group": mixed.group, "backing": "+".join(mixed.backing),
        "lead_db": mixed.lead_db, "seconds": round(audio.duration_s, 1), "ears": {},
    }  # fmt: skip
    for name, players in EARS.items():
        heard, took = _heard(audio, players)
        row["ears"][name] = asdict(score_lead(heard, mixed.tunes, mixed.octave)) if heard else {}
        if heard and name == "as found out":
            row["band"], row["cpu_s"], row["wall_s"] = heard.band, *(round(t, 2) for t in took)
            row |= _bars(heard, mixed.tunes[0])
    if baselines:
        row["baselines"] = _baselines(audio, mixed.tunes)
    return row


def _heard(audio: Audio, players: Players) -> tuple[Heard | None, tuple[float, float]]:
    """What was heard, seconds of processor and of clock."""
    start, clock = time.process_time(), time.perf_counter()
    try:
        heard = hear(audio, settings=HearSettings(players=players))
    except PipelineError:
        heard = None
    return heard, (time.process_time() - start, time.perf_counter() - clock)


def _bars(heard: Heard, truth: Tune) -> dict[str, Any]:
    try:
        scores = score_tune(notate(heard), truth)
    except PipelineError:
        return {"bars_right": 0.0}
    return {"bars_right": scores.bars_right / max(scores.bars, 1), "key": scores.mode}


def _baselines(audio: Audio, tunes: tuple[Tune, ...]) -> dict[str, Any]:
    from tests.benchmark.baselines import baseline_notes

    first = slice(int(BASELINE_S * audio.sample_rate))
    beside = None if audio.beside is None else audio.beside[first]
    start = replace(audio, samples=audio.samples[first], beside=beside)
    cut = tuple(
        replace(t, heard=tuple(n for n in t.heard if n.onset_s < BASELINE_S - 0.5)) for t in tunes
    )
    found = baseline_notes(start)
    own, _ = _heard(start, "find out")
    if own:
        found = {"own": own, **found}
    return {
        name: asdict(
            score_lead(
                replace(one, notes=tuple(n for n in one.notes if n.onset_s < BASELINE_S - 0.5)),
                cut,
            )
        )
        for name, one in found.items()
        if one.notes
    }


def set_row(mixed: Mixture) -> dict[str, Any]:
    """Whether the change of tune was found, within two bars of the second tune."""
    audio = audio_from_samples(mixed.samples, mixed.rate)
    heard, _ = _heard(audio, "find out")
    second = mixed.tunes[1]
    bar_s = float(np.median([b.end_s - b.start_s for b in second.bars_heard]))
    takes = split_takes(heard) if heard else ()
    changes = [take.notes[0].onset_s for take in takes[1:]]
    off = min((abs(one - (mixed.change_s or 0.0)) for one in changes), default=np.inf)
    return {
        "name": mixed.name, "group": mixed.group, "lead_db": mixed.lead_db,
        "band": bool(heard and heard.band), "changes": len(changes),
        "off_bars": round(float(off / bar_s), 2) if changes else None,
        "found": bool(off <= 2 * bar_s),
        "types": [t.tune_type for t in mixed.tunes],
    }  # fmt: skip


def table(rows: list[dict[str, Any]], sets: list[dict[str, Any]]) -> dict[str, Any]:
    """Means by group and ear."""
    out: dict[str, Any] = {}
    for group in ("one", "unison", "octave", "all"):
        mine = [r for r in rows if group in (r["group"], "all")]
        if not mine:
            continue
        out[group] = {"mixtures": len(mine), "bars right": _mean(r["bars_right"] for r in mine)}
        for name in EARS:
            out[group][name] = {
                m: _mean(r["ears"][name].get(m, 0.0) for r in mine) for m in MEASURES
            }
        compared = [r["baselines"] for r in mine if "baselines" in r]
        for name in sorted({n for one in compared for n in one}):
            out[group][f"20 s, {name}"] = {
                m: _mean(one.get(name, {}).get(m, 0.0) for one in compared) for m in MEASURES
            }
        out[group]["compared"] = len(compared)
    if rows:
        out["band found out"] = _mean(float(r.get("band", False)) for r in rows)
        seconds = sum(r["seconds"] for r in rows)
        for name, key in (("one core", "cpu_s"), ("as the clock goes", "wall_s")):
            took = max(sum(r.get(key, 0) for r in rows), 1e-9)
            out[f"times real time, {name}"] = round(seconds / took, 1)
    if sets:
        out["sets"] = len(sets)
        out["change within two bars"] = _mean(float(s["found"]) for s in sets)
    return out


def _mean(values: Any) -> float:
    return round(float(np.mean(list(values))), 3)


def main() -> None:
    """Run and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--split", choices=("dev", "test"), default="dev")
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--sets", type=int, default=8)
    parser.add_argument("--baselines", type=int, default=0, help="for so many of the first")
    parser.add_argument("--name")
    given = parser.parse_args()
    rows, sets = [], []
    for number in range(given.count):
        rows.append(row_of(mixture(given.split, number), baselines=number < given.baselines))
        print(json.dumps(rows[-1]), flush=True)
    for number in range(given.sets):
        sets.append(set_row(mixture(given.split, number, longest_s=90.0, tunes_in=2)))
        print(json.dumps(sets[-1]), flush=True)
    means = table(rows, sets)
    print(json.dumps(means, indent=1))
    if given.name:
        text = json.dumps({"means": means, "rows": rows, "sets": sets}, indent=1)
        (FIGURES / f"{given.name}.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
