"""Task: written tunes with a known tonic and mode, and the same tunes in other modes and spoiled.

In: tests/benchmark/collections.py and labels.json. Out: Example records.
Method: the key comes from labels.json where that names the tune (read by ear for this project; two
    keys where two are defensible), else from the header where its tonic is beyond doubt; the mode
    from the notes, because the books print modal tunes under a major or minor signature. Tunes
    that an editor labelled modal, and every relative of them, are left out: they are for testing.
    A tune in a modal key is rewritten into the others by altering third, sixth and seventh, so
    that modal tunes end as modal tunes do; a major tune is rewritten too, with less weight.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np

from liltwright.keys import key_name, parse_key, pitch_class, scale_steps, signature_of
from liltwright.notate.key.evidence import KeyEvidence
from liltwright.notate.key.rank import TRAINED
from liltwright.tune import Bar, KeyName, Mode, Part, ScoreNote, Tune
from tests.benchmark.collections import CollectedTune, Split, map_notes, tunes
from tests.benchmark.families import Relative, families

HERE = Path(__file__).parent
EDITED = re.compile("mix|dor|lyd|phr")
ALTERED = 0.85
TOLD = 0.01
GAP_WEIGHT, MOST_GONE = 0.2, 0.2
FIRST_KEY = 0.65
SPREAD: dict[Mode, dict[Mode, float]] = {
    "major": {"mixolydian": 0.35, "dorian": 0.15, "minor": 0.15},
    "mixolydian": {"major": 0.5, "dorian": 0.7, "minor": 0.5},
    "dorian": {"minor": 0.8, "mixolydian": 0.8, "major": 0.3},
    "minor": {"dorian": 0.8, "mixolydian": 0.8, "major": 0.3},
}
"""Weight of a tune of the first mode when it is rewritten into the second."""


@dataclass(frozen=True, slots=True)
class Example:
    """A tune with its keys, likeliest first, and its weight in training."""

    id: str
    tune: Tune
    keys: tuple[KeyName, ...]
    weight: float = 1.0
    rewritten: bool = False


# ---------------------------------------------------------------- tunes as printed


def printed(split: Split) -> list[Example]:
    """Tunes of a split whose key is known, none that an editor labelled modal nor a relative."""
    labels = json.loads((HERE / "labels.json").read_text(encoding="utf-8"))
    kept = []
    for item in tunes(split):
        if item.id in edited_families():
            continue
        if item.id in labels:
            keys = tuple(parse_key(text) for text in labels[item.id])
        elif item.key_sure and _ends_at_home(item.tune):
            keys = (KeyName(item.tune.tonic, item.tune.mode),)
        else:
            continue
        keys = tuple(KeyName(k.tonic, honest_mode(item.tune, k)) for k in keys)
        kept.append(Example(item.id, item.tune, keys))
    return kept


def edited(*splits: Split, modes: str = "mix|dor") -> list[Example]:
    """Tunes with a modal label by an editor, never trained on."""
    return [
        Example(item.id, item.tune, (KeyName(item.tune.tonic, item.tune.mode),))
        for split in splits
        for item in tunes(split)
        if re.search(modes, item.key_header.lower())
    ]


@cache
def edited_families() -> frozenset[str]:
    """Ids of every tune with an editor's modal label and of their relatives."""
    items = tunes()
    family = families([Relative(item.id, item.titles, item.tune) for item in items])
    taboo = {family[item.id] for item in items if _is_edited(item)}
    return frozenset(name for name, root in family.items() if root in taboo)


def _is_edited(item: CollectedTune) -> bool:
    return bool(EDITED.search(item.key_header.lower()))


def _ends_at_home(tune: Tune) -> bool:
    last = [note for bar in tune.written_bars() for note in bar.notes][-1]
    return last.midi % 12 == pitch_class(tune.tonic)


def _degrees(tune: Tune, tonic: str) -> np.ndarray:
    present = KeyEvidence.of_parts(tune.parts, tune.bar_length).present
    return np.roll(present, -pitch_class(tonic))


def honest_mode(tune: Tune, key: KeyName) -> Mode:
    """The stated mode, unless its third, seventh or sixth is altered throughout."""
    here = _degrees(tune, key.tonic)
    mode = key.mode
    if mode in ("major", "mixolydian") and here[3] > ALTERED * (here[3] + here[4]) > 0:
        mode = "dorian"
    if mode == "major" and here[10] > ALTERED * (here[10] + here[11]) > 0:
        return "mixolydian"
    if mode == "mixolydian" and here[11] > ALTERED * (here[10] + here[11]) > 0:
        return "major"
    if mode == "minor" and here[9] > ALTERED * (here[8] + here[9]) > 0:
        return "dorian"
    if mode == "dorian" and here[8] > ALTERED * (here[8] + here[9]) > 0:
        return "minor"
    return mode


# ---------------------------------------------------------------- in other modes


def rewritten(one: Example, rng: np.random.Generator) -> Iterator[Example]:
    """The tune in each other mode that its weight allows, where the telling degree sounds."""
    key = one.keys[0]
    here = _degrees(one.tune, key.tonic)
    for mode, weight in SPREAD.get(key.mode, {}).items():
        change = degree_changes(key.mode, mode)
        if not _told(here, key.mode, mode):
            continue  # altering a degree that never sounds would teach a contradiction
        if len(one.keys) > 1:
            weight *= 0.5
        tune = recoloured(one.tune, pitch_class(key.tonic), change, rng)
        keys = (KeyName(key.tonic, mode), *one.keys[1:2])
        keys = tuple(KeyName(k.tonic, honest_mode(tune, k)) if k != keys[0] else k for k in keys)
        yield Example(one.id, tune, keys, weight, rewritten=True)


def gapped(one: Example, rng: np.random.Generator) -> Iterator[Example]:
    """Modal tunes without their third or sixth, named as editors use to name them.

    Habit (common practice): without a third, a tune with a low seventh is dorian rather than
    mixolydian; without a sixth, a tune with a minor third is dorian or minor alike.
    """
    key = one.keys[0]
    if key.mode == "major" or len(one.keys) > 1:
        return
    here, steps = _degrees(one.tune, key.tonic), scale_steps(key.mode)
    dorian, other = KeyName(key.tonic, "dorian"), KeyName(key.tonic, "mixolydian")
    minor = KeyName(key.tonic, "minor")
    if key.mode != "minor" and 0 < here[steps[2]] < MOST_GONE:
        tune = without_degree(one.tune, pitch_class(key.tonic), steps, 2, rng)
        yield Example(one.id, tune, (dorian, other), GAP_WEIGHT, rewritten=True)
    if key.mode != "mixolydian" and 0 < here[steps[5]] < MOST_GONE and rng.random() < 0.3:
        tune = without_degree(one.tune, pitch_class(key.tonic), steps, 5, rng)
        keys = (dorian, minor) if key.mode == "dorian" else (minor, dorian)
        yield Example(one.id, tune, keys, GAP_WEIGHT, rewritten=True)


STEPPED: tuple[dict[int, int], ...] = (
    {2: 0, 3: 1}, {2: 0, 3: 1, 6: 4}, {2: 0, 6: 4}, {1: 0, 5: 4}, {6: 4}, {2: 0, 3: 1, 5: 4, 6: 4},
)  # fmt: skip
"""Bars of a strain that a double-tonic tune plays as another, a step lower: place to source."""
ANSWERS: tuple[dict[int, int], ...] = ({0: 0, 1: 1, 4: 4, 5: 5}, {0: 0, 4: 4}, {0: 0, 1: 1})
"""The same for a second part that begins away from home."""
DOUBLE_WEIGHT = 0.4


def double_tonic(one: Example, rng: np.random.Generator) -> Iterator[Example]:
    """A modal tune made to swing between home and the chord a step below.

    Common practice: in mixolydian, dorian and minor tunes whole bars are repeated a step lower.
    """
    key = one.keys[0]
    if key.mode == "major" or len(one.keys) > 1:
        return
    tonic, steps = pitch_class(key.tonic), scale_steps(key.mode)
    parts = []
    for at, part in enumerate(one.tune.parts):
        table = ANSWERS if at and rng.random() < 0.3 else STEPPED
        parts.append(_stepped(part, table[int(rng.integers(len(table)))], tonic, steps))
    tune = replace(one.tune, parts=tuple(parts))
    yield Example(one.id, tune, one.keys, DOUBLE_WEIGHT * one.weight, rewritten=True)


def _stepped(part: Part, places: dict[int, int], tonic: int, steps: tuple[int, ...]) -> Part:
    """The part with bars of each strain replaced by others a step lower; its last bar stays."""

    def bar(at: int) -> Bar:
        source = places.get(at % 8)
        if source is None or at == len(part.bars) - 1:
            return part.bars[at]
        home = part.bars[at - at % 8 + source]
        return tuple(replace(n, midi=_step_down(n.midi, tonic, steps)) for n in home)

    return replace(part, bars=tuple(bar(at) for at in range(len(part.bars))))


def _step_down(midi: int, tonic: int, steps: tuple[int, ...]) -> int:
    """The note of the scale below; two semitones for a note outside it."""
    degree = (midi - tonic) % 12
    if degree not in steps:
        return midi - 2
    at = steps.index(degree)
    return midi - (degree - steps[at - 1] if at else 12 - steps[-1])


AWAY: dict[Mode, tuple[int, ...]] = {
    "major": (5, 5, 1, 4, 2),
    "mixolydian": (4, 3, 6, 1),
    "dorian": (4, 6, 3, 2),
    "minor": (4, 6, 2, 2),
}
"""Degrees that tunes end on away from home (0 is the tonic), the usual ones twice."""
AWAY_WEIGHT = 0.15


def away(one: Example, rng: np.random.Generator) -> Iterator[Example]:
    """The tune with its parts ending on another degree than its tonic, as many do.

    Common practice: a G major tune may close its parts on E, A or D; some editors leave it in G,
    others name it by its last note, so that this is its second key.
    """
    if len(one.keys) > 1:
        return
    key = one.keys[0]
    tonic, steps = pitch_class(key.tonic), scale_steps(key.mode)
    degree = steps[int(rng.choice(AWAY[key.mode]))]
    every = rng.random() < 0.6
    last = len(one.tune.parts) - 1
    parts = tuple(
        _closing(part, tonic, (tonic + degree) % 12) if every or at == last else part
        for at, part in enumerate(one.tune.parts)
    )
    tune = replace(one.tune, parts=parts)
    neighbour = _neighbour(key, degree)
    keys = one.keys if neighbour is None else (key, neighbour)
    yield Example(one.id, tune, keys, AWAY_WEIGHT * one.weight, rewritten=True)


def _neighbour(key: KeyName, degree: int) -> KeyName | None:
    """The key with the same signature on a degree, given in semitones; None for rarer modes."""
    signature, tonic = signature_of(key.tonic, key.mode), pitch_class(key.tonic) + degree
    for mode in TRAINED:
        name = key_name(tonic % 12, mode)
        if (signature_of(name.tonic, mode) - signature) % 12 == 0:
            return name
    return None


def _closing(part: Part, tonic: int, other: int) -> Part:
    """The tonics at the end of the last bar, as far as it repeats them, become another note."""
    by = (other - tonic + 5) % 12 - 5

    def closed(bar: Bar) -> Bar:
        notes = list(bar)
        for at in range(len(notes) - 1, -1, -1):
            if notes[at].midi % 12 != tonic:
                break
            notes[at] = replace(notes[at], midi=notes[at].midi + by)
        return tuple(notes)

    ends = tuple(replace(end, bars=(*end.bars[:-1], closed(end.bars[-1]))) if end.bars else end
                 for end in part.endings)  # fmt: skip
    bars = part.bars if ends else (*part.bars[:-1], closed(part.bars[-1]))
    return replace(part, bars=bars, endings=ends)


def without_degree(
    tune: Tune, tonic: int, steps: tuple[int, ...], degree: int, rng: np.random.Generator
) -> Tune:
    """A degree (0 is the tonic) replaced by the one below or above, for the whole tune alike."""
    down = steps[degree - 1] - steps[degree]
    up = steps[(degree + 1) % 7] - steps[degree]
    by = down if rng.random() < 0.5 else up

    def moved(note: ScoreNote) -> ScoreNote:
        there = (note.midi - tonic) % 12 == steps[degree]
        return replace(note, midi=note.midi + by) if there else note

    return map_notes(tune, moved)


def _told(here: np.ndarray, old: Mode, new: Mode) -> bool:
    """Whether the degrees that tell the new mode from its neighbours sound: third, and seventh
    (major, mixolydian) or sixth (dorian, minor)."""
    steps = scale_steps(old)
    telling = steps[6] if new in ("major", "mixolydian") else steps[5]
    return bool(here[steps[2]] >= TOLD and here[telling] >= TOLD)


def degree_changes(old: Mode, new: Mode) -> dict[int, int]:
    """Semitones above the tonic that move, and by how much."""
    pairs = zip(scale_steps(old), scale_steps(new), strict=True)
    change = {a: b - a for a, b in pairs if a != b}
    if old == "minor" and 10 not in change:
        change[11] = -1  # a leading note of the book is no part of the mode
    return change


def recoloured(tune: Tune, tonic: int, change: dict[int, int], rng: np.random.Generator) -> Tune:
    """Every degree in `change` moved; now and then some of them are left as they were."""
    slip = 0.2 if rng.random() < 0.1 else 0.0

    def moved(note: ScoreNote) -> ScoreNote:
        by = change.get((note.midi - tonic) % 12, 0)
        return note if by == 0 or rng.random() < slip else replace(note, midi=note.midi + by)

    return map_notes(tune, moved)


# ---------------------------------------------------------------- spoiled, as an ear hears


def spoiled(tune: Tune, rng: np.random.Generator) -> Tune:
    """Some notes dropped or off by a semitone; a part or the last bars may be missing."""
    dropped, wrong = rng.choice([0.0, 0.02, 0.05]), rng.choice([0.0, 0.01, 0.03])
    parts = list(tune.parts)
    if len(parts) > 1 and rng.random() < 0.25:
        del parts[int(rng.integers(len(parts)))]
    end = rng.random()
    if end < 0.15:
        parts[-1] = _cut(parts[-1], int(rng.integers(1, 3)))
    elif end < 0.4:
        parts = [_circular(part, rng) for part in parts]
    tune = replace(tune, parts=tuple(parts))

    def heard(note: ScoreNote) -> ScoreNote:
        if rng.random() >= wrong:
            return note
        return replace(note, midi=note.midi + int(rng.choice([-2, -1, 1, 2])))

    tune = map_notes(tune, heard)
    return replace(tune, parts=tuple(_thinned(part, dropped, rng) for part in tune.parts))


def _cut(part: Part, bars: int) -> Part:
    return replace(part, bars=part.bars[:-bars], endings=(), bar_lengths=())


def _circular(part: Part, rng: np.random.Generator) -> Part:
    """The last bar leads back into the part instead of resting: its second half runs on."""
    if len(part.bars) < 4 or part.endings:
        return part
    last, other = part.bars[-1], part.bars[int(rng.integers(1, len(part.bars) - 1))]
    length = max((n.start + n.length for bar in part.bars for n in bar), default=Fraction(1))
    half = length / 2 if rng.random() < 0.5 else Fraction(0)
    kept = [replace(n, length=min(n.length, half - n.start)) for n in last if n.start < half]
    run_on = [n for n in other if n.start >= half]
    return replace(part, bars=(*part.bars[:-1], (*kept, *run_on)))


def _thinned(part: Part, dropped: float, rng: np.random.Generator) -> Part:
    bars = tuple(tuple(n for n in bar if rng.random() >= dropped) for bar in part.bars)
    return replace(part, bars=bars)


def as_class(key: KeyName) -> int:
    """Index of a key among 12 tonics x 4 modes; lydian counts as major, phrygian as minor."""
    mode = {"lydian": "major", "phrygian": "minor"}.get(key.mode, key.mode)
    return pitch_class(key.tonic) * len(TRAINED) + TRAINED.index(mode)  # type: ignore[arg-type]
