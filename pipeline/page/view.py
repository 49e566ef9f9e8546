"""The records as the page is told of them: plain data, words ready to be shown.

In: a Bench, rankings, arrangements. Out: dictionaries for JSON; lengths as fractions in text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from liltwright import keys
from liltwright.doubts import grouped, printed_bars
from liltwright.page.anew import lost
from liltwright.page.bench import UNNAMED, Bench
from liltwright.page.desk import setup_name
from liltwright.page.notes import span
from liltwright.tab import Arrangement, RankedSetup, Ranking, Setup
from liltwright.tune import Doubt, KeyName, ScoreNote, Tune
from liltwright.write.engrave.engraving import (
    capo_words,
    key_words,
    layer_title,
    pretty,
    tuning_words,
)


def state(bench: Bench, *, narrow: bool) -> dict[str, Any]:
    """Everything of a tune that the page shows at once."""
    journal, tune = bench.journal, bench.tune
    wishes = bench.wishes
    return {
        "version": journal.version,
        "undo": journal.undoes,
        "redo": journal.redoes,
        "title": tune.title or UNNAMED,
        "type": tune.tune_type,
        "metre": tune.meter,
        "beat": str(tune.beat),
        "tempo": round(tune.beats_per_minute, 1),
        "key": {"tonic": tune.tonic, "mode": tune.mode, "words": key_words(_key(tune))},
        "form": tune.form,
        "parts": [
            {"name": part.name, "repeats": part.repeats, "pickup": bool(part.pickup),
             "endings": len(part.endings), "bars": len(part.bars)} for part in tune.parts
        ],
        "bars": bars(tune),
        "doubts": doubts(tune),
        "heard": heard(tune),
        "remarks": [*tune.warnings, *tune.remarks],
        "recording": bench.recording() is not None,
        "stages": bench.finished_page() is not None,
        "anew": {"heard": bool(tune.heard), "lost": lost(journal.edits, tune)},
        "cents": round(tune.tuning_offset_cents, 1),
        "chords": [[c.bar, str(c.start), c.symbol] for c in tune.chords_typed],
        "wishes": {
            "setup": wishes.setup, "effort": wishes.effort, "ornaments": wishes.ornaments,
            "rounds": wishes.rounds, "matters": dict(wishes.matters),
            "pins": pins(tune, wishes.pins), "lines": wishes.lines,
        },
        "marks": journal.marks,
        "music": bench.music(narrow=narrow),
    }  # fmt: skip


def pins(tune: Tune, texts: tuple[str, ...]) -> list[dict[str, Any]]:
    """Pinned notes: their place on the page and in words."""
    from liltwright.pins import parse_pin

    found = []
    for text in texts:
        pin = parse_pin(text)
        for bar in pin.where.bars(tune) if pin.where else ():
            notes = tune.written_bars()[bar].notes
            at = [i for i, note in enumerate(notes) if pin.where and note.start == pin.where.start]
            found.append({"bar": bar, "note": at[0] if at else -1, "string": pin.string,
                          "words": text})  # fmt: skip
    return found


def bars(tune: Tune) -> list[dict[str, Any]]:
    """The written bars with their notes."""
    found = []
    for bar in tune.written_bars():
        low, high = span(tune, bar)
        found.append({
            "kind": bar.kind, "number": bar.number, "part": bar.part, "ending": bar.ending,
            "low": str(low), "high": str(high), "notes": [_note(tune, note) for note in bar.notes],
        })  # fmt: skip
    return found


def _note(tune: Tune, note: ScoreNote) -> dict[str, Any]:
    name = keys.note_name(note.midi, tune.signature, octave=True)
    found = {
        "midi": note.midi, "start": str(note.start), "length": str(note.length),
        "name": pretty(name[:-1]) + name[-1],
    }  # fmt: skip
    return {**found, "ornament": note.ornament} if note.ornament else found


def doubts(tune: Tune) -> list[dict[str, Any]]:
    """What to check by ear: performed bars, where they are on the page and in the recording."""
    printed = printed_bars(tune)
    numbers = {number: (bar.start_s, bar.end_s) for bar, number in _numbered(tune)}
    found = []
    for group in grouped(tune.doubts):
        places = [printed[b] for b in range(group.first, group.last + 1) if b in printed]
        times = [numbers[b] for b in range(group.first, group.last + 1) if b in numbers]
        found.append({
            "first": group.first, "last": group.last, "words": group.words, "why": group.why,
            "bars": places, "from": times[0][0] if times else group.start_s,
            "to": times[-1][1] if times else group.start_s + 2.0,
        })  # fmt: skip
    return found


def _numbered(tune: Tune) -> list[tuple[Any, int]]:
    from liltwright.write.report.page import heard_numbers

    return list(zip(tune.bars_heard, heard_numbers(tune), strict=True))


def heard(tune: Tune) -> list[list[Any]]:
    """Every bar that was heard: start and end in seconds, written bar (-1: none), its number."""
    numbered = _numbered(tune)
    if not numbered:
        return []
    last = max(number for _, number in numbered)
    printed = printed_bars(replace(tune, doubts=(Doubt(last, 0.0, "-"),)))
    return [
        [round(bar.start_s, 3), round(bar.end_s, 3), printed.get(number, -1), number]
        for bar, number in numbered
    ]


def _key(tune: Tune) -> KeyName:
    return KeyName(tune.tonic, tune.mode)


def setup(one: Setup) -> dict[str, Any]:
    """A tuning and capo in words."""
    return {
        "id": setup_name(one), "tuning": tuning_words(one), "short": one.tuning,
        "capo": one.capo, "capo_words": capo_words(one), "sounds": key_words(one.sounds_in),
        "shapes": key_words(one.shapes_in), "strings": list(one.strings_midi),
        "transpose": one.transpose,
    }  # fmt: skip


def ranking(found: Ranking, most: int, matters: Mapping[str, float]) -> dict[str, Any]:
    """The ranking: every setup with its parts, the best of them with reasons.

    matters : the factors that it was made with; `extra` is what the arrangement adds at factor 1
    """
    from liltwright.guitar.arranged import ARRANGEMENT, arrangement_explained
    from liltwright.guitar.score import parts_explained, weights

    says = parts_explained()
    base = dict(zip(says, weights({}).tolist(), strict=True))
    weighed = dict(zip(says, weights(dict(matters)).tolist(), strict=True))
    factor = matters.get(ARRANGEMENT, 1.0)
    extra = [
        (one.score - 100 * sum(one.partial[name] * weighed[name] for name in says)) / factor
        if factor and ARRANGEMENT in one.partial
        else 0.0
        for one in found.setups
    ]
    return {
        "searched": found.searched,
        "parts": [
            {"name": name, "says": text, "weight": base[name]} for name, text in says.items()
        ],
        "arranged": {"name": ARRANGEMENT, "says": arrangement_explained()},
        "setups": [
            {
                **_ranked(one, full=place < most),
                "partial": [round(one.partial[name], 3) for name in says],
                "extra": round(extra[place], 3),
            }
            for place, one in enumerate(found.setups)
        ],
        "lower": list(found.lower),
        "robustness": found.robustness,
    }


def _ranked(one: RankedSetup, *, full: bool) -> dict[str, Any]:
    words = {
        **setup(one.setup), "rank": one.rank, "score": one.score,
        "cautions": list(one.cautions),
    }  # fmt: skip
    if full:
        words["reasons"] = [r for r in one.reasons if not r.startswith("Sounds in")]
    return words


def arrangement(tune: Tune, made: Arrangement, player: Any) -> dict[str, Any]:
    """The layers with their grades, the plan of rounds, cautions."""
    return {
        "setup": setup(made.setup),
        "layers": [
            {
                "name": layer.name, "title": layer_title(layer.name),
                "remarks": list(layer.remarks), "difficulty": layer.difficulty,
                "chords": [[c.bar, str(c.start), c.symbol] for c in layer.chords],
                "grades": grades(tune, made, layer.bars, player),
                "strings": [[[n.string, n.fret, str(n.start)] for n in bar if n.part == "melody"
                             and not n.grace] for bar in layer.bars],
            } for layer in made.layers
        ],
        "lines": [str(line.name) for line in made.lines],
        "rounds": [
            {"layer": one.layer, "dynamic": one.dynamic, "parts": [
                {"part": part.part, "layer": part.layer, "dynamic": part.dynamic}
                for part in one.parts
            ]} for one in made.rounds
        ],
        "cautions": list(made.cautions),
    }  # fmt: skip


def grades(tune: Tune, made: Arrangement, tab: Any, player: Any) -> list[float]:
    """How many moves of both hands a second each written bar asks for."""
    from liltwright.arrange.grades import grade_bar

    written = tune.written_bars()
    found = [grade_bar(bar, one.length, tune, made.setup, player.hand)
             for bar, one in zip(tab, written, strict=True)]  # fmt: skip
    return [round(grade.moves / max(grade.seconds, 0.05), 2) for grade in found]


def strings(one: Setup, player: Any) -> list[dict[str, Any]]:
    """The tension of each string, and what changes."""
    from liltwright.guitar.tension import tensions

    found = tensions(one.strings_midi, scale_mm=player.scale_mm, string_set=player.string_set)
    return [
        {"string": t.string, "name": pretty(keys.note_name(t.midi)),
         "newton": round(t.tension_n, 1), "semitones": t.semitones,
         "percent": round(t.percent), "danger": t.near_breaking}
        for t in found
    ]  # fmt: skip
