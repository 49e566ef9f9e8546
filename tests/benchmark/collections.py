"""Task: dance tunes to test and to learn from, with a split that no family of tunes crosses.

In: the ABC files of three public-domain collections that music21 packages: O'Neill's Music of
    Ireland (1903, "oneill"), Ryan's Mammoth Collection (1883, "ryan") and Aird's Airs (1782 on,
    "aird"). Only music21's folder is looked up; the files are read by liltwright.read.abc.
Out: `tunes(split)`: CollectedTune records in a fixed order.
Method: a family is every tune that is linked by a common title or by enough common runs of eight
    intervals (so neither transposing nor rewriting 2/4 as 4/4 hides a relative). Families are
    dealt by a hash of their smallest id: 70 % train, 15 % dev, 15 % test. The outcome is stored
    in split.json, so that a better reader cannot move a tune; `python -m
    tests.benchmark.collections --write` makes it anew.
    The type comes from the R: header, else the title, else the chapter of the book, else the
    motion of the tune (`type_from` says which). Tunes printed in 2/4 with semiquavers where
    players write 4/4 with quavers are doubled; dotted pairs of reels and hornpipes, which are
    swing, are written plainly as even quavers, and printed trebles as the note they decorate.
References: chapters of O'Neill 1903, from memory, confirmed by the R: headers in the files.
"""

from __future__ import annotations

import importlib.util
import json
import re
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Literal

import numpy as np

from liltwright.dances import dances
from liltwright.errors import PipelineError
from liltwright.keys import pitch_class
from liltwright.read.abc import read_abc
from liltwright.read.kinds import beat_of
from liltwright.tune import Bar, ScoreNote, Tune
from tests.benchmark.families import Relative, make_split
from tests.benchmark.kinds import TypeFrom, plainly, type_of
from tests.benchmark.timeline import whole_round

Split = Literal["train", "dev", "test"]
SPLIT_FILE = Path(__file__).with_name("split.json")
FOLDERS = {"oneill": "oneills1850", "ryan": "ryansMammoth", "aird": "airdsAirs"}


@dataclass(frozen=True, slots=True)
class CollectedTune:
    """One tune of a collection, ready to be performed."""

    id: str
    """Collection, file and number, e.g. "oneill/0301-0350/305"."""
    collection: str
    tune: Tune
    rhythm_header: str
    """The R: field as printed, "" when there is none."""
    key_header: str
    titles: tuple[str, ...]
    type_from: TypeFrom
    key_sure: bool
    """Whether the header's tonic is beyond doubt: a mode other than major or minor was chosen by
    an editor, or two of last note, longest pitch and Krumhansl-Kessler profile agree with it."""


# ---------------------------------------------------------------- public


@cache
def tunes(split: Split | None = None) -> tuple[CollectedTune, ...]:
    """The tunes of one split, or every usable tune, in the order of the books."""
    if split is None:
        return _read(None)
    return _read(frozenset(json.loads(SPLIT_FILE.read_text(encoding="utf-8"))[split]))


def as_mode(tune: Tune, seventh: int, sixth: int) -> Tune:
    """A tune with its seventh and sixth degrees altered throughout, by semitones.

    as_mode(major, -1, 0) is an honest mixolydian tune, as_mode(minor, 0, +1) a dorian one. The
    caller renames the mode. Degrees are those of the tune's tonic and mode.
    """
    from liltwright.keys import scale_steps

    steps = scale_steps(tune.mode)
    shift = {steps[6]: seventh, steps[5]: sixth}
    tonic = pitch_class(tune.tonic)
    return map_notes(
        tune, lambda note: replace(note, midi=note.midi + shift.get((note.midi - tonic) % 12, 0))
    )


def map_notes(tune: Tune, change: Callable[[ScoreNote], ScoreNote]) -> Tune:
    """The tune with every written note replaced by change(note)."""

    def bars(these: tuple[Bar, ...]) -> tuple[Bar, ...]:
        return tuple(tuple(change(note) for note in bar) for bar in these)

    parts = tuple(
        replace(
            part,
            pickup=bars((part.pickup,))[0],
            bars=bars(part.bars),
            endings=tuple(replace(ending, bars=bars(ending.bars)) for ending in part.endings),
        )
        for part in tune.parts
    )
    return replace(tune, parts=parts)


# ---------------------------------------------------------------- reading the books


def _read(wanted: frozenset[str] | None) -> tuple[CollectedTune, ...]:
    """The usable tunes whose id is wanted; None: every one."""
    seen: set[str] = set()
    found = []
    for collection, stem, block in _blocks():
        number = re.match(r"X:\s*(\d+)", block)
        name = f"{collection}/{stem}" + (
            f"/{int(number[1])}" if number and collection != "ryan" else ""
        )
        while name in seen:
            name += "+"
        seen.add(name)
        item = _collect(name, collection, block) if wanted is None or name in wanted else None
        if item is not None:
            found.append(item)
    return tuple(found)


def _blocks() -> Iterator[tuple[str, str, str]]:
    """(collection, file stem, text) of every tune, from its X: field on."""
    spec = importlib.util.find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    corpus = Path(spec.origin).parent / "corpus"
    for collection, folder in FOLDERS.items():
        for path in sorted((corpus / folder).glob("*.abc")):
            text = path.read_text(encoding="latin-1").replace("\r\n", "\n").replace("\r", "\n")
            for block in re.split(r"(?m)^(?=X:)", text)[1:]:
                yield collection, path.stem, block


def _field(block: str, letter: str) -> str:
    match = re.search(rf"(?m)^{letter}:([^%\n]*)", block)
    return match[1].strip() if match else ""


def _collect(name: str, collection: str, block: str) -> CollectedTune | None:
    try:
        tune = read_abc(block, name=f"{name}.abc")
    except (PipelineError, ValueError):
        return None
    titles = tuple(t.strip() for t in re.findall(r"(?m)^T:([^%\n]*)", block))
    rhythm, key = _field(block, "R"), _field(block, "K")
    meter = tune.meter if tune.meter not in ("2/2", "C", "C|") else "4/4"
    tune = replace(tune, meter=meter)
    kind = type_of(collection, name, tune, rhythm.lower(), titles)
    if kind is None:
        return None
    tune_type, type_from = kind
    tune = plainly(replace(tune, tune_type=tune_type))
    dance = dances()[tune_type]
    if tune.meter not in dance.meters:
        return None
    tempo = sum(dance.usual_bpm) / 2
    beat = beat_of(tune_type, tune.meter)
    tune = replace(tune, beat=beat, beats_per_minute=tempo, title=titles[0] if titles else "")
    if not _sane(tune):
        return None
    sure = _key_sure(tune, key)
    return CollectedTune(name, collection, tune, rhythm, key, titles, type_from, sure)


# ---------------------------------------------------------------- sanity and key


def _sane(tune: Tune) -> bool:
    """Bars add up, the range is one an instrument has, the size is that of a tune."""
    bars = [bar for bar in tune.written_bars() if bar.kind != "pickup"]
    pitches = [note.midi for bar in bars for note in bar.notes]
    if not pitches or not 6 <= len(bars) <= 80 or len(tune.performed_order()) > 130:
        return False
    if max(pitches) - min(pitches) > 26 or min(pitches) < 52 or max(pitches) > 93:
        return False
    if sum(not bar.notes for bar in bars) > len(bars) // 10:
        return False
    full = tune.bar_length
    odd = sum(bar.length != full for bar in bars)
    shortest = min(note.length for bar in bars for note in bar.notes)
    return odd <= 1 and shortest >= Fraction(1, 32) and whole_round(tune) is not None


# Krumhansl & Kessler 1982, as quoted in Krumhansl 1990.
KK_MAJOR = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
KK_MINOR = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)


def _key_sure(tune: Tune, header: str) -> bool:
    if re.search(r"mix|dor|lyd|phr", header.lower()):
        return True
    weight = [0.0] * 12
    for bar in tune.written_bars():
        for note in bar.notes:
            weight[note.midi % 12] += float(note.length)
    last = tune.written_bars()[-1].notes
    tonic = pitch_class(tune.tonic)
    votes = (
        bool(last) and last[-1].midi % 12 == tonic,
        max(range(12), key=weight.__getitem__) == tonic,
        _kk_tonic(weight) == tonic,
    )
    return sum(votes) >= 2


def _kk_tonic(weight: list[float]) -> int:
    """The tonic of the best of 24 keys, by correlation."""
    centred = np.array(weight) - np.mean(weight)
    return int(np.argmax(_kk_profiles() @ centred)) % 12


@cache
def _kk_profiles() -> np.ndarray:
    rows = np.array([np.roll(row, tonic) for row in (KK_MAJOR, KK_MINOR) for tonic in range(12)])
    rows = rows - rows.mean(axis=1, keepdims=True)
    return rows / np.linalg.norm(rows, axis=1, keepdims=True)


if __name__ == "__main__":
    found = tunes()
    if "--write" in sys.argv:
        dealt = make_split([Relative(item.id, item.titles, item.tune) for item in found])
        SPLIT_FILE.write_text(json.dumps(dealt, indent=0) + "\n", encoding="utf-8")
    for name in ("train", "dev", "test"):
        these = tunes(name)  # type: ignore[arg-type]
        print(name, len(these), dict(Counter(item.tune.tune_type for item in these)))
