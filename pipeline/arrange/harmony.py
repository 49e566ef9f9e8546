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
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

import models
from pipeline import keys
from pipeline.arrange.chords import ChordTones, parse_symbol, transpose_symbol
from pipeline.arrange.metre import Pulse, pulse_of
from pipeline.tab import Chord
from pipeline.tune import KeyName, Mode, Tune, TypedChord

QUALITY = {"major": "", "minor": "m", "open": "5"}
STEPS = {"major": (0, 4, 7), "minor": (0, 3, 7), "open": (0, 7)}
RULES = "harmony/rules.json"


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

    @property
    def chord(self) -> ChordTones:
        """The chosen chord."""
        return self.choices[0].chord


@dataclass(frozen=True, slots=True)
class Harmony:
    """Chords of a tune as it sounds; spans in written order, none under pick-ups."""

    key: KeyName
    spans: tuple[ChordSpan, ...]

    def chords(self) -> tuple[Chord, ...]:
        """The chosen chords as the sheet prints them: in every bar, and wherever they change."""
        printed: list[Chord] = []
        for span in self.spans:
            last = printed[-1] if printed else None
            if last and last.bar == span.bar and last.symbol == span.chord.symbol:
                continue
            root = _root_name(span.chord.symbol)
            printed.append(Chord(span.bar, span.start, span.chord.symbol, root))
        return tuple(printed)


@dataclass(frozen=True, slots=True)
class _Degree:
    """A chord of the mode before it has a name."""

    numeral: str
    root: int
    quality: str
    prior: float


@dataclass(frozen=True, slots=True)
class _Span:
    """A stretch of melody to harmonise: its tones, its place in bar and phrase."""

    bar: int
    start: Fraction
    length: Fraction
    tones: tuple[tuple[int, float, bool, bool], ...]
    """Pitch class, length in beats, sounds on the span's start, passes by step."""
    fresh: bool
    """Nothing leads here: the first span of a part or an ending."""
    first_in_bar: bool
    last_in_bar: bool
    phrase_end: str
    """ "close" in the last bar of a part, "pause" in every other fourth bar, else empty."""


def harmonise(tune: Tune, *, transpose: int = 0, only: frozenset[int] | None = None) -> Harmony:
    """Chords for every main beat of the tune.

    transpose : semitones from the written tune to the arrangement as it sounds
    only : roots allowed, in semitones above the tonic; None for every chord of the mode
    Raises UsageError when a typed chord cannot be read.
    """
    rules = models.read_json(RULES)
    spans = _spans(tune, pulse_of(tune))
    key = keys.transpose_key(KeyName(tune.tonic, tune.mode), transpose)
    if not spans:
        return Harmony(key, ())
    used = _tone_shares(spans)
    tonic = keys.pitch_class(tune.tonic)
    degrees = _degrees(tune.mode, used, tonic, only, rules)
    fixed = _typed_spans(tune, spans)
    costs = _path_costs(spans, degrees, tonic, rules["modes"][tune.mode], rules)
    signature = keys.signature_of(key.tonic, key.mode)
    found = []
    for span, cost in zip(spans, costs, strict=True):
        typed = fixed.get((span.bar, span.start))
        if typed is not None:
            symbol = transpose_symbol(typed.symbol, transpose, signature)
            choices: tuple[ChordChoice, ...] = (
                ChordChoice(parse_symbol(symbol), "", 1.0, typed=True),
            )
        else:
            choices = _ranked(span, degrees, cost, used, tonic, transpose, signature, rules)
        found.append(ChordSpan(span.bar, span.start, span.length, choices))
    return Harmony(key, tuple(found))


# ---------------------------------------------------------------- melody, cut at the main beats


def _spans(tune: Tune, pulse: Pulse) -> list[_Span]:
    spans: list[_Span] = []
    written = tune.written_bars()
    ends = _phrase_ends(tune)
    held: tuple[int, Fraction] | None = None
    for index, bar in enumerate(written):
        sounding = _sounding(bar.notes, held)
        over = max((n.start + n.length for n in bar.notes), default=bar.length) - bar.length
        held = (bar.notes[-1].midi, over) if bar.notes and over > 0 else None
        if bar.kind == "pickup":
            continue
        first = index == 0 or written[index - 1].part != bar.part or bar.kind == "ending"
        first = first or written[index - 1].kind == "pickup"
        starts = [beat for beat in pulse.main if beat < bar.length] or [Fraction(0)]
        for place, start in enumerate(starts):
            stop = starts[place + 1] if place + 1 < len(starts) else bar.length
            last = place + 1 == len(starts)
            tones = _tones(sounding, start, stop, pulse.beat)
            fresh = first and place == 0 and (bar.kind != "ending" or bar.ending > 0)
            spans.append(
                _Span(index, start, stop - start, tones, fresh, place == 0, last, ends[index])
            )
    return spans


def _sounding(
    notes: tuple, held: tuple[int, Fraction] | None
) -> list[tuple[int, Fraction, Fraction]]:
    """Pitch, start and end of what sounds in a bar, with a note tied into it."""
    tied = [(held[0], Fraction(0), held[1])] if held else []
    return tied + [(note.midi, note.start, note.start + note.length) for note in notes]


def _tones(
    sounding: list[tuple[int, Fraction, Fraction]], start: Fraction, stop: Fraction, beat: Fraction
) -> tuple[tuple[int, float, bool, bool], ...]:
    tones = []
    for place, (midi, begins, ends) in enumerate(sounding):
        length = min(ends, stop) - max(begins, start)
        if length <= 0:
            continue
        around = sounding[max(place - 1, 0) : place] + sounding[place + 1 : place + 2]
        step = bool(around) and all(abs(other[0] - midi) <= 2 for other in around)
        tones.append((midi % 12, float(length / beat), begins <= start, step))
    return tuple(tones)


def _phrase_ends(tune: Tune) -> list[str]:
    """For each written bar: "close" at the end of a part or ending, "pause" every fourth bar."""
    found: list[str] = []
    for part in tune.parts:
        found += [""] * bool(part.pickup)
        body = len(part.bars)
        found += ["pause" if place % 4 == 3 else "" for place in range(body)]
        if body and not part.endings:
            found[-1] = "close"
        for ending in part.endings:
            places = range(body, body + len(ending.bars))
            found += ["pause" if place % 4 == 3 else "" for place in places]
            if places:
                found[-1] = "close"
    return found


def _tone_shares(spans: list[_Span]) -> np.ndarray:
    """Share of the tune's time on each written pitch class, shape (12,)."""
    shares = np.zeros(12)
    for span in spans:
        for tone, beats, _, _ in span.tones:
            shares[tone] += beats
    return shares / max(shares.sum(), 1e-9)


# ---------------------------------------------------------------- the chords and their costs


def _degrees(
    mode: Mode, used: np.ndarray, tonic: int, only: frozenset[int] | None, rules: dict
) -> list[_Degree]:
    table = rules["modes"][mode]
    found = [_Degree(name, *row) for name, row in table["chords"].items()]
    for name, (root, quality, prior, needs) in table["borrowed"].items():
        if used[(tonic + needs) % 12] >= rules["used_share"]:
            found.append(_Degree(name, root, quality, prior))
    for degree in list(found):
        other = "minor" if degree.quality == "major" else "major"
        third = (tonic + degree.root + STEPS[other][1]) % 12
        if used[third] >= rules["used_share"]:
            name = degree.numeral.swapcase().replace("B", "b")
            if all(known.numeral != name for known in found):
                prior = degree.prior + rules["altered_third"]
                found.append(_Degree(name, degree.root, other, prior))
    return [degree for degree in found if only is None or degree.root in only]


def _melody_costs(
    spans: list[_Span], degrees: list[_Degree], tonic: int, rules: dict
) -> np.ndarray:
    """Cost of each chord under each span's melody, shape (spans, chords)."""
    costs = np.zeros((len(spans), len(degrees)))
    for column, degree in enumerate(degrees):
        tones = {(tonic + degree.root + step) % 12 for step in STEPS[degree.quality]}
        for row, span in enumerate(spans):
            for tone, beats, on_beat, step in span.tones:
                if tone in tones:
                    continue
                rate = "step_note_outside_per_beat" if step else "note_outside_per_beat"
                cost = rules[rate] * beats + rules["beat_note_outside"] * on_beat
                if (tone - 1) % 12 in tones:
                    cost += rules["half_step_above_tone"]
                costs[row, column] += cost
    return costs


def _path_costs(
    spans: list[_Span], degrees: list[_Degree], tonic: int, table: dict, rules: dict
) -> np.ndarray:
    """Cost of the best path through each chord of each span, shape (spans, chords)."""
    local = _melody_costs(spans, degrees, tonic, rules)
    local += np.array([degree.prior for degree in degrees])
    local += np.array(
        [[_cadence(span, d.numeral, table, rules) for d in degrees] for span in spans]
    )
    names = [degree.numeral for degree in degrees]
    follow = np.array(
        [
            [table["successions"].get(f"{a} {b}", 0.0) if a != b else 0.0 for b in names]
            for a in names
        ]
    )
    change = 1.0 - np.eye(len(names))
    toward = np.array(
        [[table["before_close"].get(a, 0.0) if a != b else 0.0 for b in names] for a in names]
    )
    steps = []
    for span in spans:
        if span.fresh:
            steps.append(np.zeros_like(follow))
            continue
        rate = rules["change_at_bar" if span.first_in_bar else "change_in_bar"]
        closing = span.phrase_end == "close" and span.last_in_bar
        steps.append(follow + rate * change + (toward if closing else 0.0))
    forward, backward = local.copy(), np.zeros_like(local)
    for row in range(1, len(spans)):
        forward[row] += (forward[row - 1][:, None] + steps[row]).min(axis=0)
    for row in range(len(spans) - 2, -1, -1):
        backward[row] = (steps[row + 1] + local[row + 1] + backward[row + 1]).min(axis=1)
    return forward + backward


def _cadence(span: _Span, numeral: str, table: dict, rules: dict) -> float:
    if not span.phrase_end or not span.last_in_bar:
        return 0.0
    return float(table[span.phrase_end].get(numeral, rules[f"{span.phrase_end}_else"]))


def _ranked(
    span: _Span,
    degrees: list[_Degree],
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


def _is_open(span: _Span, degree: _Degree, used: np.ndarray, tonic: int, rules: dict) -> bool:
    """Whether the tune leaves the third of a chord open: it has neither, or both, and none here."""
    thirds = [(tonic + degree.root + step) % 12 for step in (3, 4)]
    if any(tone in thirds for tone, _, _, _ in span.tones):
        return False
    shares = [used[third] for third in thirds]
    return max(shares) < rules["used_share"] / 2 or min(shares) >= rules["used_both_share"]


# ---------------------------------------------------------------- typed chords


def _typed_spans(tune: Tune, spans: list[_Span]) -> dict[tuple[int, Fraction], TypedChord]:
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


def _root_name(symbol: str) -> str:
    return symbol[:2] if symbol[1:2] in ("#", "b") else symbol[:1]
