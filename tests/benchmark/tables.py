"""Task: rows of single renders -> means by family, type, condition and group, and printed tables.

Means are over renders; ornaments, repeated notes, octave errors and doubts are pooled counts.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np

Row = dict[str, Any]
EIGHT = ("reel", "jig", "slip jig", "hornpipe", "polka", "slide", "waltz", "march")
PLAYED = ("whistle", "recorder", "flute", "fiddle", "accordion", "pipes", "plucked")
GROUPS: dict[str, Callable[[Row], bool]] = {
    "played, clean and room": lambda r: (
        r["family"] in PLAYED and r["condition"] in ("clean", "room")
    ),
    "hum and lips": lambda r: r["family"] in ("hum", "lips"),
    "lilt and choir": lambda r: r["family"] in ("lilt", "choir"),
    "12 dB or phone": lambda r: r["condition"] in ("noise12", "phone"),
    "own synthesisers, played": lambda r: r["family"] in PLAYED and r["exact"],
}


def groups(rows: list[Row]) -> dict[str, list[Row]]:
    """Rows by every heading of the report."""
    found: dict[str, list[Row]] = {"total": rows}
    for heading in ("family", "type", "condition"):
        for value in dict.fromkeys(row[heading] for row in rows):
            found[f"{heading}: {value}"] = [row for row in rows if row[heading] == value]
    found |= {name: [row for row in rows if test(row)] for name, test in GROUPS.items()}
    return {name: mine for name, mine in found.items() if mine}


def summary(rows: list[Row]) -> dict[str, dict[str, float]]:
    """All figures by group."""
    return {name: _figures(mine) for name, mine in groups(rows).items()}


def _figures(rows: list[Row]) -> dict[str, float]:
    out: dict[str, float] = {"renders": len(rows)}
    out["errors"] = sum("error" in row for row in rows)
    heard = [row["heard"] for row in rows if "heard" in row]
    if heard:
        out |= _heard_figures(heard)
        minutes = sum(row["seconds"] for row in rows if "heard" in row) / 60
        out["hear_cpu_s_per_minute"] = sum(r["hear_cpu_s"] for r in rows if "heard" in r) / minutes
    if any("written" in row for row in rows):
        out |= _written_figures(rows)
    return {name: round(float(value), 4) for name, value in out.items()}


def _heard_figures(heard: list[Row]) -> dict[str, float]:
    total = {name: sum(one[name] for one in heard) for name in heard[0]
             if isinstance(heard[0][name], int)}  # fmt: skip
    out = {name: float(np.mean([one[name] for one in heard]))
           for name in ("f1_50", "precision_50", "recall_50", "f1_25")}  # fmt: skip
    out["repeated_found"] = total["repeated_found"] / max(total["repeated"], 1)
    both = max(total["ornaments"] + total["ornaments_reported"], 1)
    out["ornament_f1"] = 2 * total["ornaments_found"] / both
    out["ornament_labelled_f1"] = 2 * total["ornaments_labelled"] / both
    out["octave_errors_per_1000"] = 1000 * total["octave_errors"] / max(total["notes"], 1)
    return out


def _written_figures(rows: list[Row]) -> dict[str, float]:
    """A render that failed counts as wrong in everything."""
    done = [row["written"] for row in rows if "written" in row]
    out = {
        "bars_right": _mean([w["bars_right"] / max(w["bars"], 1) for w in done], len(rows)),
        "printed_right": _mean([w["printed_right"] / w["printed"] for w in done], len(rows)),
    }
    for name in ("downbeat_f1", "tune_type", "meter", "form", "form_letters", "rounds", "tempo"):
        out[name] = _mean([w[name] for w in done], len(rows))
    sure = [row for row in rows if row["key_sure"]]
    for name in ("tonic", "mode", "signature"):
        mine = [row["written"][name] for row in sure if "written" in row]
        out[name] = _mean(mine, max(len(sure), 1))
    eight = [row for row in rows if row["type"] in EIGHT]
    if eight:
        mine = [row["written"]["tune_type"] for row in eight if "written" in row]
        out["tune_type_of_8"] = _mean(mine, len(eight))
    wrong, listed, both = (
        sum(w[k] for w in done) for k in ("wrong_bars", "doubts", "wrong_listed")
    )
    out["wrong_bars_listed"] = both / max(wrong, 1)
    out["listed_bars_wrong"] = both / max(listed, 1)
    out["bars_listed"] = listed / max(sum(w["bars"] for w in done), 1)
    wrong = sum(w["printed"] - w["printed_right"] for w in done)
    out["wrong_printed_listed"] = sum(w["printed_wrong_listed"] for w in done) / max(wrong, 1)
    took = [row["notate_cpu_s"] / row["seconds"] * 120 for row in rows if "written" in row]
    out["notate_cpu_s_per_2_minutes"] = float(np.mean(took)) if took else 0.0
    return out


def _mean(values: Iterable[float], count: int) -> float:
    return float(sum(values)) / max(count, 1)


def reliability(rows: list[Row]) -> list[tuple[float, int, float]]:
    """(mean confidence, notes, share right) per bin of confidence."""
    pooled: dict[int, list[tuple[float, int, int]]] = defaultdict(list)
    for row in rows:
        for at, entry in enumerate(row.get("heard", {}).get("reliability", ())):
            pooled[at].append(tuple(entry))
    out = []
    for entries in pooled.values():
        notes = sum(n for _, n, _ in entries)
        if notes:
            mean = sum(c * n for c, n, _ in entries) / notes
            out.append((round(mean, 3), notes, round(sum(r for *_, r in entries) / notes, 3)))
    return out


def baselines(rows: list[Row]) -> dict[str, dict[str, float]]:
    """Mean figures of each ear on the same seconds, and of the general analysers."""
    out: dict[str, dict[str, float]] = {}
    with_them = [row["baselines"] for row in rows if "baselines" in row]
    for name in dict.fromkeys(name for one in with_them for name in one["notes"]):
        mine = [one["notes"][name] for one in with_them if name in one["notes"]]
        figures = _heard_figures(mine)
        kept = ("f1_50", "f1_25", "repeated_found", "octave_errors_per_1000")
        out[name] = {key: round(figures[key], 4) for key in kept}
    if with_them:
        beat = float(np.mean([one["librosa beat f1"] for one in with_them]))
        out["librosa beats"] = {"beat_f1": round(beat, 4)}
    keyed = [row["keys"] for row in rows if "keys" in row and row["key_sure"]]
    for name in keyed[0] if keyed else ():
        tonic, mode = np.mean([one[name] for one in keyed], axis=0)
        out[name] = {"tonic": round(float(tonic), 4), "mode": round(float(mode), 4)}
    return out


def degraded(rows: list[Row]) -> dict[str, dict[str, float]]:
    """Figures of the written tune by how the notes were spoiled."""
    out = {}
    for name in dict.fromkeys(name for row in rows for name in row.get("degraded", {})):
        mine = [{**row, **row["degraded"][name]} for row in rows if "degraded" in row]
        figures = _figures([{k: v for k, v in row.items() if k != "heard"} for row in mine])
        out[name] = {key: figures[key] for key in SPOILED}
    return out


# ---------------------------------------------------------------- printing

HEAR = ("f1_50", "f1_25", "repeated_found", "ornament_f1", "ornament_labelled_f1",
        "octave_errors_per_1000")  # fmt: skip
SPOILED = ("bars_right", "printed_right", "form", "meter", "bars_listed", "wrong_bars_listed",
           "wrong_printed_listed")  # fmt: skip
WRITE = ("bars_right", "printed_right", "downbeat_f1", "tune_type", "tune_type_of_8", "meter",
         "tonic", "mode", "signature", "form")  # fmt: skip
SHORT = {
    "f1_50": "F1 50", "f1_25": "F1 25", "repeated_found": "repeat", "ornament_f1": "orn",
    "ornament_labelled_f1": "orn lab", "octave_errors_per_1000": "oct/1000",
    "bars_right": "bars", "printed_right": "print", "downbeat_f1": "downbt", "tune_type": "type",
    "tune_type_of_8": "type8", "meter": "metre",
}  # fmt: skip


def show(table: dict[str, dict[str, float]], columns: Iterable[str]) -> str:
    """A table as text; columns that no row has are left out."""
    kept = [name for name in columns if any(name in row for row in table.values())]
    width = max(map(len, table), default=0)
    lines = [" " * width + "".join(f"{SHORT.get(name, name):>10}" for name in ["renders", *kept])]
    for name, row in table.items():
        cells = "".join(f"{row[c]:10.3f}" if c in row else " " * 10 for c in kept)
        lines.append(f"{name:<{width}}{int(row.get('renders', 0)) or '':>10}{cells}")
    return "\n".join(lines)
