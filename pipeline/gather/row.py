"""A tune -> its row of the table: what one looks for in an archive, in plain values.

In: the Tune, and the Ranking when there is one. Out: a dict by the names of `table.COLUMNS`.
"""

from __future__ import annotations

from typing import Any

from liltwright.doubts import grouped
from liltwright.gather.melody import melody_bars
from liltwright.tab import Ranking
from liltwright.tune import Tune

BEST = 3
"""How many setups a row names."""
INCIPIT_BARS = 4  # full bars: a phrase, by which tunes are known


def row_of(tune: Tune, ranking: Ranking | None) -> dict[str, Any]:
    """Everything the table says of a tune but the file's name."""
    likely = tune.candidates.tune_type
    printed = [bar for bar in tune.written_bars() if bar.kind != "pickup"]
    return {
        "title": tune.title,
        "duration_s": round(tune.source.duration_s, 3),
        "tune_type": tune.tune_type,
        "type_probability": round(likely[0].probability, 4) if likely else None,
        "meter": tune.meter,
        "tonic": tune.tonic,
        "mode": tune.mode,
        "signature": tune.signature,
        "form": tune.form,
        "rounds": tune.rounds,
        "beats_per_minute": round(float(tune.beats_per_minute), 2),
        "bars": len(printed),
        "bars_heard": len(tune.bars_heard),
        "doubtful_bars": len({doubt.bar for doubt in tune.doubts}),
        "doubts": [f"{group.words}: {group.why}" for group in grouped(tune.doubts)],
        "tuning_offset_cents": round(tune.tuning_offset_cents, 1),
        "warnings": list(tune.warnings),
        "incipit": incipit(tune),
        "melody": melody_bars(tune),
        "setups": [
            {
                "tuning": setup.tuning,
                "capo": setup.capo,
                "sounds_in": f"{setup.sounds_in.tonic} {setup.sounds_in.mode}",
                "score": round(setup.score, 3),
            }
            for setup in (ranking.setups[:BEST] if ranking else ())
        ],
    }


def incipit(tune: Tune) -> str:
    """The first bars in ABC notation, with pick-up, without header."""
    from liltwright.write.formats.abc import tune_to_abc

    lines = tune_to_abc(tune).splitlines()
    start = next((at for at, line in enumerate(lines) if line.startswith("K:")), -1)
    music = " ".join(
        line for line in lines[start + 1 :] if line and not (line[1:2] == ":" and line[0] != "|")
    )
    bars = [bar.strip() for bar in music.replace("||", "|").replace("|:", "|").split("|")]
    full = [bar for bar in bars if bar]
    first = 1 if tune.parts and tune.parts[0].pickup else 0
    return " | ".join(full[: INCIPIT_BARS + first])
