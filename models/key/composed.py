"""Task: tunes whose home is certain, composed of bars of real ones on the progressions of a mode.

In: training tunes with a sure key; progressions.json. Out: Example records.
Method: every bar of the tunes is written in degrees of its key and given the root of the chord that
    it outlines. A strain follows a progression of its mode: for each bar one of the same metre and
    of a like place in its strain is moved along the scale to the wanted root, near the note before.
    Bars five and six repeat the first two, parts may share their close, as dance tunes do; some
    lead back into themselves instead of resting. Sevenths and sixths may be inflected for a bar.
References: form and progressions: common practice; recombining what tunes are made of: D. Cope,
    "Computers and Musical Style", 1991.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from liltwright.keys import key_name, pitch_class, scale_steps
from liltwright.models.key.examples import Example, honest_mode
from liltwright.tune import Bar, KeyName, Mode, Part, ScoreNote, Tune

HERE = Path(__file__).parent
SHARES: dict[Mode, float] = {"major": 0.34, "mixolydian": 0.24, "dorian": 0.24, "minor": 0.18}
"""How often each mode is composed."""
RIVALS = 0.15  # how much better than the next a root must fit for its bar to be used
CHOICES = 12  # bars looked at for each place
NEAR = 2.0  # scale steps: how close to the note before a bar likes to begin
LOWEST, HIGHEST = -3, 11
"""Scale steps around the tonic that the melody stays in, about the range of a pipe."""
LED_BACK, SAME_CLOSE, SHORT = 0.25, 0.5, 0.15
"""Chances: no rest at the end of a part, a close shared by the parts, parts of four bars."""
INFLECTED = 0.25  # chance that a tune has bars with the other seventh or sixth


@dataclass(frozen=True, slots=True)
class Figure:
    """A bar in degrees: scale steps from the tonic, and the root it outlines (0 to 6)."""

    notes: Bar
    steps: tuple[int, ...]
    root: int


@dataclass(frozen=True, slots=True)
class Stock:
    """Figures by metre and place: "open", "middle", "half", "close"."""

    figures: dict[tuple[str, str], list[Figure]]
    tunes: tuple[Tune, ...]
    """Whose metre, type and tempo a composed tune takes."""


def stock_of(examples: Iterable[Example]) -> Stock:
    """The bars of tunes with one key."""
    figures: dict[tuple[str, str], list[Figure]] = defaultdict(list)
    tunes = []
    for one in examples:
        if len(one.keys) > 1:
            continue
        tunes.append(one.tune)
        for part in one.tune.parts:
            for at, bar in enumerate(part.bars):
                place = _place(at, len(part.bars))
                if place == "close":
                    bar = _filled(bar, one.tune)
                found = _figure(bar, one.tune, one.keys[0])
                if found is not None and (place != "close" or _rests(found, one.tune)):
                    figures[one.tune.meter, place].append(found)
    return Stock(figures, tuple(tunes))


def composed(stock: Stock, count: int, rng: np.random.Generator) -> list[Example]:
    """Tunes by mode as in SHARES, in any key."""
    modes = list(SHARES)
    found = []
    for number in range(count):
        mode = modes[int(rng.choice(len(modes), p=list(SHARES.values())))]
        model = stock.tunes[int(rng.integers(len(stock.tunes)))]
        if all(stock.figures[model.meter, place] for place in ("open", "middle", "half", "close")):
            found.append(_tune(stock, model, mode, rng, number))
    return found


# ---------------------------------------------------------------- figures


def _place(at: int, bars: int) -> str:
    if at == bars - 1:
        return "close"
    return {0: "open", 3: "half"}.get(at % 4, "middle")


def _filled(bar: Bar, tune: Tune) -> Bar:
    """A last bar that a pick-up follows, with its last note held to the end."""
    if not bar or bar[-1].start >= tune.bar_length:
        return bar
    return (*bar[:-1], replace(bar[-1], length=tune.bar_length - bar[-1].start))


def _rests(figure: Figure, tune: Tune) -> bool:
    """Whether the bar ends on its root, long."""
    last = figure.notes[-1]
    return figure.root == 0 == figure.steps[-1] % 7 and 4 * last.length >= tune.bar_length


def _figure(bar: Bar, tune: Tune, key: KeyName) -> Figure | None:
    """The bar in degrees; None where it leaves the scale, is not full or outlines nothing."""
    if not bar or sum(note.length for note in bar) != tune.bar_length:
        return None
    scale, tonic = scale_steps(key.mode), pitch_class(key.tonic)
    steps = []
    for note in bar:
        octave, degree = divmod(note.midi - tonic - 60, 12)
        if degree not in scale:
            return None
        steps.append(7 * octave + scale.index(degree))
    weight = np.zeros(7)
    for note, step in zip(bar, steps, strict=True):
        strong = note.start in (0, tune.bar_length / 2)
        weight[step % 7] += float(note.length / tune.bar_length) * (1.5 if strong else 1.0)
    score = _outlines() @ weight
    first, second = np.sort(score)[::-1][:2]
    if first - second < RIVALS:
        return None
    return Figure(bar, tuple(steps), int(score.argmax()))


@cache
def _outlines() -> np.ndarray:
    """Weights of the seven degrees for the triad on each."""
    row = np.array([1.0, -0.5, 0.8, -0.5, 0.8, -0.5, -0.5])
    return np.stack([np.roll(row, root) for root in range(7)])


# ---------------------------------------------------------------- a tune


def _tune(stock: Stock, model: Tune, mode: Mode, rng: np.random.Generator, number: int) -> Example:
    tables = _progressions()
    count = int(rng.choice([1, 2, 2, 2, 2, 3]))
    back = rng.random() < LED_BACK
    strains: list[list[Figure]] = []
    for at in range(count):
        kind = "openings" if at == 0 or rng.random() < 0.35 else "turns"
        roots = str(rng.choice(tables[kind][mode]))
        if rng.random() < SHORT:
            roots = roots[4:]
        if back:
            roots = roots[:-1] + str(rng.choice(list(tables["led back"][mode])))
        strain = _strain(stock, model.meter, [int(root) - 1 for root in roots], rng)
        if at and rng.random() < SAME_CLOSE:
            strain[-2:] = strains[0][-2:]
        strains.append(strain)
    tonic = int(rng.integers(12))
    key = key_name(tonic, mode)
    scale, inflected = scale_steps(mode), _inflection(mode, rng)
    base = 60 + tonic - (12 if tonic > 6 else 0)
    parts = tuple(
        Part(
            name="ABC"[at],
            repeats=2,
            bars=tuple(_sung(figure, base, scale, inflected, rng) for figure in strain),
        )
        for at, strain in enumerate(strains)
    )
    tune = replace(model, parts=parts, tonic=key.tonic, mode=mode)
    truth = KeyName(key.tonic, mode)
    return Example(f"composed/{number}", tune, (KeyName(key.tonic, honest_mode(tune, truth)),),
                   rewritten=True)  # fmt: skip


def _strain(stock: Stock, meter: str, roots: list[int], rng: np.random.Generator) -> list[Figure]:
    found: list[Figure] = []
    last = int(rng.choice([0, 2, 4, 7]))
    for at, root in enumerate(roots):
        if at in (4, 5) and roots[at] == roots[at - 4] and rng.random() < 0.8:
            found.append(found[at - 4])
        else:
            place = _place(at, len(roots))
            if place == "close" and root != 0:
                place = "middle"
            found.append(_moved(stock.figures[meter, place], root, last, rng))
        last = found[-1].steps[-1]
    return found


def _moved(figures: list[Figure], root: int, last: int, rng: np.random.Generator) -> Figure:
    """One of the figures on another root, near the last note and within the range."""
    choices, costs = [], []
    for at in rng.integers(len(figures), size=CHOICES):
        figure = figures[int(at)]
        for octave in (-14, -7, 0, 7, 14):
            by = root - figure.root + octave
            steps = tuple(step + by for step in figure.steps)
            outside = max(LOWEST - min(steps), max(steps) - HIGHEST, 0)
            choices.append(Figure(figure.notes, steps, root))
            costs.append(abs(steps[0] - last) / NEAR + 3.0 * outside)
    chance = np.exp(-(np.array(costs) - min(costs)))
    return choices[int(rng.choice(len(choices), p=chance / chance.sum()))]


def _inflection(mode: Mode, rng: np.random.Generator) -> dict[int, int]:
    """Degrees that some bars sing otherwise: semitones by degree."""
    if rng.random() >= INFLECTED:
        return {}
    if mode == "major":
        return {6: -1} if rng.random() < 0.7 else {3: 1}
    if mode == "mixolydian":
        return {6: 1} if rng.random() < 0.8 else {2: -1}
    if mode == "dorian":
        return {6: 1} if rng.random() < 0.5 else {5: -1}
    return {6: 1} if rng.random() < 0.6 else {5: 1}


def _sung(
    figure: Figure, base: int, scale: tuple[int, ...], inflected: dict[int, int],
    rng: np.random.Generator,
) -> Bar:  # fmt: skip
    """The bar in a key; in one bar of four the inflected degrees are sung otherwise."""
    change = inflected if inflected and rng.random() < 0.25 else {}

    def sung(note: ScoreNote, step: int) -> ScoreNote:
        octave, degree = divmod(step, 7)
        return replace(note, midi=base + 12 * octave + scale[degree] + change.get(degree, 0))

    return tuple(sung(note, step) for note, step in zip(figure.notes, figure.steps, strict=True))


@cache
def _progressions() -> dict:
    table: dict = json.loads((HERE / "progressions.json").read_text(encoding="utf-8"))
    return table
