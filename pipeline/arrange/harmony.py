"""Harmony: ranked chords under every beat group of a tune, in the language of its mode.

Task: choose chords that a player of this music would, with cadences, few changes, no third
    where the mode is open; keep what the user typed.
In:   a Tune (written pitches), the semitones to the arrangement as it sounds.
Out:  Harmony: one ChordSpan after another, each with its candidates, best first.
Method: best path over the chords of the mode (models/harmony/rules.json, costs in nats): what the
    melody's tones cost under a chord, what a change costs, cadences at the ends of four-bar
    phrases and of parts. Candidates are ranked by the cost of the best path through each of
    them (min-marginals), and their probabilities are the soft-max of that.
References: Viterbi 1967 (IEEE Trans. Information Theory 13(2)); the rules' sources stand in
    models/harmony/CARD.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from liltwright import keys, models
from liltwright.arrange.chords import ChordTones, parse_symbol, transpose_symbol
from liltwright.arrange.degrees import Degree, degrees_of, path_costs
from liltwright.arrange.stretches import RULES, Stretch, stretches, tone_shares
from liltwright.bassbeats import pulse_of
from liltwright.tab import Chord, LineName, TabBar
from liltwright.tune import KeyName, Tune, TypedChord

QUALITY = {"major": "", "minor": "m", "open": "5"}


@dataclass(frozen=True, slots=True)
class ChordChoice:
    """One chord that could stand under a span."""

    chord: ChordTones
    """As it sounds."""
    numeral: str
    """Degree in the mode, "bVII"; empty for a typed chord."""
    probability: float
    typed: bool = False


@dataclass(frozen=True, slots=True)
class ChordSpan:
    """From one main beat to the next, with the chords that may stand there, best first."""

    bar: int
    """Index into Tune.written_bars()."""
    start: Fraction
    length: Fraction
    choices: tuple[ChordChoice, ...]
    melody: frozenset[int] = frozenset()
    """Pitch classes of the melody here, as they sound."""
    enters: bool = True
    """The chord begins here, or its bar does."""

    @property
    def chord(self) -> ChordTones:
        """The chosen chord."""
        return self.choices[0].chord

    @property
    def root_law(self) -> bool:
        """Whether the user's own chord begins here, so that its root must be the bass."""
        return self.choices[0].typed and self.enters

    @property
    def basses(self) -> frozenset[int]:
        """Pitch classes that may be the bass on this main beat, so that the chord is heard.

        Root or fifth; the root alone where the user's chord begins and where the melody has
        neither root nor third; the bass after a slash alone where there is one.
        """
        chord = self.chord
        if chord.bass is not None:
            return frozenset({chord.bass})
        told = bool(self.melody & ({chord.root} | chord.thirds))
        return frozenset({chord.root, chord.fifth} if told and not self.root_law else {chord.root})


@dataclass(frozen=True, slots=True)
class Harmony:
    """Chords of a tune as it sounds; spans in written order, none under pick-ups."""

    key: KeyName
    spans: tuple[ChordSpan, ...]

    def chords(self, bars: Sequence[TabBar] = ()) -> tuple[Chord, ...]:
        """The chosen chords as the sheet prints them: in every bar, and wherever they change.

        bars : where a bass of theirs does not tell its chord (see `basses`), as a drone may not, it
            is named after a slash
        """
        signature = keys.signature_of(self.key.tonic, self.key.mode)
        printed: list[Chord] = []
        for span in self.spans:
            symbol = _named(span, bars[span.bar] if bars else (), signature)
            last = printed[-1] if printed else None
            if last and last.bar == span.bar and last.symbol == symbol:
                continue
            printed.append(Chord(span.bar, span.start, symbol, _root_name(span.chord.symbol)))
        return tuple(printed)


def harmonise(
    tune: Tune,
    *,
    transpose: int = 0,
    pinned: Sequence[TypedChord] = (),
    line: LineName = "steady",
) -> Harmony:
    """Chords for every main beat of the tune.

    transpose : semitones from the written tune to the arrangement as it sounds
    pinned : chords that stand above typed ones, each to the end of its bar
    line : how readily chords change (models/harmony/lines.json)
    Raises UsageError when a typed chord cannot be read.
    """
    rules, manner = models.read_json(RULES), models.read_json("harmony/lines.json")[line]
    rules = rules | {
        name: rules[name] * manner["change"] for name in ("change_at_bar", "change_in_bar")
    }
    spans = stretches(tune, pulse_of(tune))
    key = keys.transpose_key(KeyName(tune.tonic, tune.mode), transpose)
    if not spans:
        return Harmony(key, ())
    used = tone_shares(spans)
    tonic = keys.pitch_class(tune.tonic)
    degrees = [
        replace(degree, prior=degree.prior * manner["prior"])
        for degree in degrees_of(tune.mode, used, tonic, rules)
    ]
    fixed = _typed_spans(tune, spans)
    for chord in sorted(pinned, key=lambda one: (one.bar, one.start)):
        mine = [one for one in spans if one.bar == chord.bar]
        ends = [one for one in mine if one.start + one.length > chord.start]
        fixed.update({(one.bar, one.start): chord for one in ends or mine[-1:]})
    costs = path_costs(spans, degrees, tonic, rules["modes"][tune.mode], rules)
    first = _first_alike(tune, spans)
    for leader in set(first):
        alike = [row for row, one in enumerate(first) if one == leader]
        costs[alike] = costs[alike].mean(axis=0)
    signature = keys.signature_of(key.tonic, key.mode)
    found: list[ChordSpan] = []
    for row, (span, cost) in enumerate(zip(spans, costs, strict=True)):
        typed = fixed.get((span.bar, span.start))
        if typed is not None:
            symbol = transpose_symbol(typed.symbol, transpose, signature)
            choices: tuple[ChordChoice, ...] = (
                ChordChoice(parse_symbol(symbol), "", 1.0, typed=True),
            )
        elif first[row] < row and not found[first[row]].choices[0].typed:
            choices = found[first[row]].choices
        else:
            choices = _ranked(span, degrees, cost, used, tonic, transpose, signature, rules)
        melody = frozenset((tone + transpose) % 12 for tone, _, _, _ in span.tones)
        found.append(ChordSpan(span.bar, span.start, span.length, choices, melody))
    return Harmony(key, _one_name_a_bar(found))


def _first_alike(tune: Tune, spans: list[Stretch]) -> list[int]:
    """For each stretch the first with the same melody in its bar, at the same place of a part."""
    eight = models.read_json(RULES)["phrases"]["bars"] * 2
    written = tune.written_bars()
    places: dict[int, int] = {}
    for index, bar in enumerate(written):
        mine = [i for i in range(index) if written[i].part == bar.part]
        places[index] = sum(written[i].kind != "pickup" for i in mine) % eight
    known: dict[tuple, int] = {}
    found = []
    for row, span in enumerate(spans):
        bar = written[span.bar]
        notes = tuple((note.start, note.length, note.midi) for note in bar.notes)
        key = (places[span.bar], bar.kind, bar.length, notes, span.start)
        found.append(known.setdefault(key, row))
    return found


def _one_name_a_bar(spans: list[ChordSpan]) -> tuple[ChordSpan, ...]:
    """The spans, a chord that keeps its root within a bar also keeping its name (no "D D5")."""
    found: list[ChordSpan] = []
    for row, span in enumerate(spans):
        if not span.choices[0].typed and not span.chord.thirds:
            named = [
                one
                for one in spans
                if one.bar == span.bar
                and one.chord.root == span.chord.root
                and one.chord.thirds
                and not one.choices[0].typed
                and not _thirds_of(one.chord) & span.melody
            ]
            span = replace(span, choices=named[0].choices) if named else span
        before = found[-1].chord.symbol if row else ""
        enters = span.start == 0 or span.chord.symbol != before
        found.append(replace(span, enters=enters))
    return tuple(found)


def _thirds_of(chord: ChordTones) -> frozenset[int]:
    """Both thirds above the root."""
    return frozenset({(chord.root + 3) % 12, (chord.root + 4) % 12})


# ---------------------------------------------------------------- the chords and their names


def _ranked(
    span: Stretch,
    degrees: list[Degree],
    cost: np.ndarray,
    used: np.ndarray,
    tonic: int,
    transpose: int,
    signature: int,
    rules: dict,
) -> tuple[ChordChoice, ...]:
    weights = [math.exp(float(cost.min() - one)) for one in cost]
    total = sum(weights)
    order = sorted(range(len(degrees)), key=lambda i: (float(cost[i]), i))
    found: list[ChordChoice] = []
    for i in order:
        degree = degrees[i]
        if _is_open(span, degree, used, tonic, rules):
            degree = replace(degree, quality="open")
        root = (tonic + degree.root + transpose) % 12
        symbol = keys.note_name(60 + root, signature) + QUALITY[degree.quality]
        if all(choice.chord.symbol != symbol for choice in found):
            found.append(ChordChoice(parse_symbol(symbol), degree.numeral, weights[i] / total))
    return tuple(found)


def _is_open(span: Stretch, degree: Degree, used: np.ndarray, tonic: int, rules: dict) -> bool:
    """Whether the tune leaves the third of a chord open: it has neither, or both, and none here."""
    thirds = [(tonic + degree.root + step) % 12 for step in (3, 4)]
    if any(tone in thirds for tone, _, _, _ in span.tones):
        return False
    shares = [used[third] for third in thirds]
    return max(shares) < rules["used_share"] / 2 or min(shares) >= rules["used_both_share"]


# ---------------------------------------------------------------- typed chords


def _typed_spans(tune: Tune, spans: list[Stretch]) -> dict[tuple[int, Fraction], TypedChord]:
    """The typed chord in force under each span that has one.

    A chord holds to the end of its bar; where the user wrote chords over most bars, as on a lead
    sheet, it holds until the next.
    """
    typed = sorted(tune.chords_typed, key=lambda chord: (chord.bar, chord.start))
    bars = {span.bar for span in spans}
    throughout = len({chord.bar for chord in typed}) * 2 > len(bars)
    found = {}
    for span in spans:
        end = span.start + span.length
        here = [chord for chord in typed if chord.bar == span.bar and chord.start < end]
        before = [chord for chord in typed if chord.bar < span.bar] if throughout else []
        if here or before:
            on_beat = [chord for chord in here if chord.start <= span.start] or here or before
            found[span.bar, span.start] = on_beat[-1] if on_beat is not here else here[0]
    return found


def _named(span: ChordSpan, bar: TabBar, signature: int) -> str:
    """The symbol with the bass that is struck under it, where the symbol does not tell it."""
    symbol = span.chord.symbol
    struck = [note.midi for note in bar if note.part == "bass" and note.start == span.start]
    if not struck or struck[0] % 12 in span.basses:
        return symbol
    return f"{symbol.partition('/')[0]}/{keys.note_name(struck[0] % 12 + 60, signature)}"


def _root_name(symbol: str) -> str:
    return symbol[:2] if symbol[1:2] in ("#", "b") else symbol[:1]
