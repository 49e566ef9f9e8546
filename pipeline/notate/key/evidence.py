"""Task: describe a written tune by what tells its key, the same way for every tonic.

In: the parts of a tune. Out: KeyEvidence, tables over the twelve pitch classes.
Method: every table says how a kind of place is shared among the pitch classes: all time, the strong
    beats, the eight bars of a strain one by one, ends and openings of phrases and parts, low and
    high notes, notes that a figure keeps coming back to (a drone in the melody), notes reached by
    each interval, and the chord that a bar outlines. Rolling a table asks about another tonic.
References: places that tell a tonic: phrase ends and drones, common practice; the chord of a bar is
    a template match as in T. Fujishima, "Realtime Chord Recognition of Musical Sound", 1999, with
    templates for major, minor and third-less chords.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from liltwright.notate.key.course import Course, course_of
from liltwright.tune import Bar, NoteEvent, Part, ScoreNote

PRESENT = 0.02  # share of the time from which on a pitch counts as there
STRAIN = 8
"""Bars of a strain; longer parts are laid over it."""
INTERVALS = (-5, -4, -3, -2, -1, 0, 1, 2, 3, 4, 5)
"""Semitones up from the note before; wider leaps have two tables of their own."""
EXTREMES = 0.2  # quantile: the lowest and highest fifth of the notes
CHORD_SHARPNESS = 6.0  # how sharply the best chord is told from the next
TABLES = 15 + 8 + 5 + STRAIN + 4 + len(INTERVALS) + 2

Weighted = tuple[int, float]


@dataclass(frozen=True, slots=True)
class KeyEvidence:
    """What the ranker looks at: pitch-class tables, shape (TABLES, 12), every row a share."""

    tables: np.ndarray
    present: np.ndarray
    """Share of the tune's time by pitch class, shape (12,)."""
    course: Course
    """The tune bar by bar."""

    @staticmethod
    def of_parts(
        parts: tuple[Part, ...], bar_length: Fraction, trust: np.ndarray | None = None
    ) -> KeyEvidence:
        """Describe the printed tune; `trust` by pitch class, shape (12,), as from trust_in."""
        lines = [_lines(part) for part in parts]
        notes = [note for bars in lines for bar in bars for note in bar]
        if not notes:
            return KeyEvidence(
                np.zeros((TABLES, 12)), np.zeros(12), course_of([], bar_length, None)
            )
        pitches = np.array([note.midi for note in notes])
        lengths = np.array([float(note.length) for note in notes])
        tables = [
            *_places(lines, notes, pitches, bar_length),
            *_arrivals(lines, bar_length),
            *_shapes(pitches, lengths),
            *_strain(lines),
            *_chords(lines, bar_length),
            *_intervals(pitches, lengths),
        ]
        trusted = _trusted(np.array(tables), trust)
        return KeyEvidence(trusted, trusted[0], course_of(lines, bar_length, trust))

    def moved(self, semitones: int) -> KeyEvidence:
        """The evidence of the same tune transposed."""
        return KeyEvidence(
            np.roll(self.tables, semitones, axis=1),
            np.roll(self.present, semitones),
            self.course.moved(semitones),
        )


def trust_in(notes: Iterable[NoteEvent]) -> np.ndarray:
    """How sure the ear is of each pitch class beside the whole, 0 to 1, shape (12,)."""
    sure, whole = np.zeros(12), np.zeros(12)
    for note in notes:
        length = note.offset_s - note.onset_s
        whole[round(note.midi) % 12] += length
        sure[round(note.midi) % 12] += length * note.confidence
    usual = sure.sum() / max(whole.sum(), 1e-9)
    share = np.divide(sure, whole * max(usual, 1e-9), out=np.ones(12), where=whole > 0)
    return np.minimum(share, 1.0)


def _trusted(tables: np.ndarray, trust: np.ndarray | None) -> np.ndarray:
    """Less of what the ear is not sure of; every row keeps its sum."""
    if trust is None:
        return tables
    before = tables.sum(axis=1, keepdims=True)
    after = tables * trust
    after *= before / np.maximum(after.sum(axis=1, keepdims=True), 1e-9)
    after[1], after[2] = np.sqrt(after[0]), after[0] > PRESENT
    return after


def _lines(part: Part) -> list[Bar]:
    """The bars of a part with its last ending, bars without notes left out."""
    bars = [*part.bars, *(part.endings[-1].bars if part.endings else ())]
    return [bar for bar in bars if bar] or [part.pickup]


def _share(weighted: Iterable[Weighted]) -> np.ndarray:
    table = np.zeros(12)
    for midi, weight in weighted:
        table[midi % 12] += weight
    return _scaled(table)


def _scaled(table: np.ndarray) -> np.ndarray:
    return table / max(table.sum(), 1e-9)


def _binned(pitches: np.ndarray, weights: np.ndarray) -> np.ndarray:
    return _scaled(np.bincount(pitches % 12, weights, 12))


# ---------------------------------------------------------------- places in the form


def _places(
    lines: list[list[Bar]], notes: list[ScoreNote], pitches: np.ndarray, bar_length: Fraction
) -> list[np.ndarray]:
    """Fifteen tables: time, presence, beats, ends, openings, what leads to the ends, range."""
    present = _share((n.midi, float(n.length)) for n in notes)
    return [
        present,
        np.sqrt(present),
        (present > PRESENT) * 1.0,
        _share((n.midi, float(n.length)) for n in notes if n.start == 0),
        _share((n.midi, float(n.length)) for n in notes if n.start * 2 == bar_length),
        _share(_ends(lines, 4)),
        _share(_ends(lines, 8)),
        _share(_last(bars) for bars in lines),
        _share([_last(lines[-1])]),
        _share([_last(lines[0])]),
        _share((bars[0][0].midi, 1.0) for bars in lines if bars[0]),
        _share([(notes[0].midi, 1.0)]),
        _share(_into_last(bars) for bars in lines),
        _share([(int(pitches.min()), 1.0)]),
        _share([(int(pitches.max()), 1.0)]),
    ]


def _last(bars: list[Bar]) -> Weighted:
    return (bars[-1][-1].midi, 1.0) if bars[-1] else (0, 0.0)


def _ends(lines: list[list[Bar]], every: int) -> Iterable[Weighted]:
    """The longest note (the later of equals) of every fourth or eighth bar."""
    for bars in lines:
        for bar in bars[every - 1 :: every]:
            if bar:
                yield max(reversed(bar), key=lambda note: note.length).midi, 1.0


def _into_last(bars: list[Bar]) -> Weighted:
    """The last note of another pitch before the final one."""
    notes = [note for bar in bars for note in bar]
    before = [note.midi for note in notes if note.midi != notes[-1].midi]
    return (before[-1], 1.0) if before else (0, 0.0)


def _strain(lines: list[list[Bar]]) -> list[np.ndarray]:
    """What sounds in each of the eight bars of a strain, all parts together."""
    found = []
    for at in range(STRAIN):
        bars = [bar for part in lines for bar in part[at::STRAIN]]
        found.append(_share((n.midi, float(n.length)) for bar in bars for n in bar))
    return found


def _arrivals(lines: list[list[Bar]], bar_length: Fraction) -> list[np.ndarray]:
    """Eight tables: where the cadence bars stand on their strong beats.

    A tune that leads back into itself rests there and not on its last note.
    """
    half = bar_length / 2
    eighth = [bar for part in lines for bar in part[7::8]]
    fourth = [bar for part in lines for bar in part[3::8]]
    before = [bar for part in lines for bar in part[6::8]]
    last = [part[-1] for part in lines]
    closing = [bar[-1] for bar in last if bar]
    return [
        _share(_standing(eighth, Fraction(0))),
        _share(_standing(eighth, half)),
        _share(_standing(fourth, Fraction(0))),
        _share(_standing(fourth, half)),
        _share(_standing(before, Fraction(0))),
        _share(_standing(last, Fraction(0))),
        _share(_standing(last, half)),
        _share((n.midi, 1.0) for n in closing if 3 * n.length >= bar_length),
    ]


def _standing(bars: list[Bar], at: Fraction) -> Iterable[Weighted]:
    """The note of each bar that sounds at a place in it."""
    for bar in bars:
        for note in bar:
            if note.start <= at < note.start + note.length:
                yield note.midi, 1.0


# ---------------------------------------------------------------- the shape of the line


def _shapes(pitches: np.ndarray, lengths: np.ndarray) -> list[np.ndarray]:
    """Five tables: low notes, high notes, long notes, notes come back to by a leap or a step."""
    low, high = np.quantile(pitches, [EXTREMES, 1 - EXTREMES])
    back = np.zeros(len(pitches), dtype=bool)
    back[2:] = pitches[2:] == pitches[:-2]
    leap = np.zeros(len(pitches), dtype=bool)
    leap[1:] = np.abs(np.diff(pitches)) > 2
    changed = np.zeros(len(pitches), dtype=bool)
    changed[1:] = np.diff(pitches) != 0
    return [
        _binned(pitches, lengths * (pitches <= low)),
        _binned(pitches, lengths * (pitches >= high)),
        _binned(pitches, lengths * (lengths > np.median(lengths))),
        _binned(pitches, 1.0 * (back & leap)),
        _binned(pitches, 1.0 * (back & changed & ~leap)),
    ]


def _intervals(pitches: np.ndarray, lengths: np.ndarray) -> list[np.ndarray]:
    """Of the whole tune, the share of notes reached by each interval, by pitch class reached."""
    steps = np.diff(pitches)
    whole = max(float(lengths[1:].sum()), 1e-9)
    masks = [steps == one for one in INTERVALS]
    masks += [steps < INTERVALS[0], steps > INTERVALS[-1]]
    return [np.bincount(pitches[1:] % 12, lengths[1:] * mask, 12) / whole for mask in masks]


# ---------------------------------------------------------------- the chord of a bar

_ROOT, _THIRD, _FIFTH, _OTHER = 1.0, 0.8, 0.8, -0.5
"""What a tone says for a chord that holds it so, or does not."""


def _templates() -> np.ndarray:
    """Weights of the pitch classes for a chord on C: major, minor, without a third."""
    found = np.full((3, 12), _OTHER)
    found[:, 0], found[:, 7] = _ROOT, _FIFTH
    found[0, 4] = found[1, 3] = _THIRD
    return np.stack([np.roll(found, root, axis=1) for root in range(12)])


TEMPLATES = _templates()


def _chords(lines: list[list[Bar]], bar_length: Fraction) -> list[np.ndarray]:
    """Roots of the chords that bars outline: all, first of parts, fourth bars, last of parts."""
    roots = [np.array([_roots(bar, bar_length) for bar in part]) for part in lines]
    return [
        _scaled(np.concatenate(roots).sum(0)),
        _scaled(np.sum([part[0] for part in roots], axis=0)),
        _scaled(np.concatenate([part[3::4] for part in roots]).sum(0)),
        _scaled(np.sum([part[-1] for part in roots], axis=0)),
    ]


def _roots(bar: Bar, bar_length: Fraction) -> np.ndarray:
    """How likely each root is for a bar, shape (12,); the two halves' first notes count more."""
    if not bar:
        return np.zeros(12)
    strong = (0, bar_length / 2)
    weight = _share((n.midi, float(n.length) * (1.5 if n.start in strong else 1.0)) for n in bar)
    score = (TEMPLATES @ weight).max(axis=1)
    chance = np.exp(CHORD_SHARPNESS * (score - score.max()))
    return np.asarray(chance / chance.sum())
