"""Task: rank tonics and modes for a written tune.

In: the parts of a tune. Out: KeyCandidates, best first, and remarks for the user.
Method: a ranker that is the same for every tonic. For each of the twelve pitch classes as tonic,
    the tune is described by where its notes stand above that tonic: how long, how often on the
    beat, at phrase ends and part ends, first and last, and by which steps the ends are reached.
    Trained weights per mode (models/key) turn the description into a score; a softmax over all
    tonics and modes gives probabilities. Lydian and phrygian, too rare to train, take the place
    of major and minor when the fourth or second is altered throughout.
References: the idea of ranking all transpositions with shared weights follows from the
    profile-matching of C. Krumhansl, "Cognitive Foundations of Musical Pitch", 1990; the weights
    are learned instead of measured.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

import numpy as np

from liltwright import models
from liltwright.keys import key_name, note_name, pitch_class, scale_steps, signature_of
from liltwright.tune import Bar, KeyCandidate, KeyName, Mode, Part, ScoreNote

TRAINED: tuple[Mode, ...] = ("major", "mixolydian", "dorian", "minor")
SHOWN = 8
PRESENT = 0.02
BOTH = 0.015


@dataclass(frozen=True, slots=True)
class KeyEvidence:
    """What the ranker looks at: pitch-class tables, shape (n_tables, 12), every row a share."""

    tables: np.ndarray
    present: np.ndarray
    """Share of the tune's time by pitch class, shape (12,)."""

    @staticmethod
    def of_parts(parts: tuple[Part, ...], bar_length: Fraction) -> KeyEvidence:
        """Describe the printed tune."""
        phrases = [_lines(part) for part in parts]
        everything = [note for lines in phrases for bar in lines for note in bar]
        if not everything:
            return KeyEvidence(np.zeros((TABLES, 12)), np.zeros(12))
        present = _share((n.midi, float(n.length)) for n in everything)
        tables = [
            present,
            np.sqrt(present),
            (present > PRESENT) * 1.0,
            _share((n.midi, float(n.length)) for n in everything if n.start == 0),
            _share((n.midi, float(n.length)) for n in everything if n.start * 2 == bar_length),
            _share(_ends(phrases, 4)),
            _share(_ends(phrases, 8)),
            _share(_last(lines) for lines in phrases),
            _share([_last(phrases[-1])]),
            _share([_last(phrases[0])]),
            _share(_firsts(phrases)),
            _share([(everything[0].midi, 1.0)]),
            _share(_into_last(lines) for lines in phrases),
            _share(_extreme(everything, -1)),
            _share(_extreme(everything, +1)),
        ]
        return KeyEvidence(np.array(tables), present)


TABLES = 15


def _lines(part: Part) -> list[Bar]:
    """The bars of a part with its last ending, bars without notes left out."""
    bars = [*part.bars, *(part.endings[-1].bars if part.endings else ())]
    return [bar for bar in bars if bar] or [part.pickup]


def _share(weighted: Iterable[tuple[int, float]]) -> np.ndarray:
    table = np.zeros(12)
    for midi, weight in weighted:
        table[midi % 12] += weight
    return table / max(table.sum(), 1e-9)


def _last(lines: list[Bar]) -> tuple[int, float]:
    return (lines[-1][-1].midi, 1.0) if lines[-1] else (0, 0.0)


def _ends(phrases: list[list[Bar]], every: int) -> list[tuple[int, float]]:
    """The longest note (the later of equals) of every fourth or eighth bar."""
    found = []
    for lines in phrases:
        for bar in lines[every - 1 :: every]:
            longest = max(reversed(bar), key=lambda note: note.length)
            found.append((longest.midi, 1.0))
    return found


def _firsts(phrases: list[list[Bar]]) -> list[tuple[int, float]]:
    return [(lines[0][0].midi, 1.0) for lines in phrases if lines[0]]


def _into_last(lines: list[Bar]) -> tuple[int, float]:
    """The last note of another pitch before the final one."""
    notes = [note for bar in lines for note in bar]
    before = [note.midi for note in notes if note.midi != notes[-1].midi]
    return (before[-1], 1.0) if before else (0, 0.0)


def _extreme(notes: list[ScoreNote], sign: int) -> list[tuple[int, float]]:
    return [(max(sign * note.midi for note in notes) * sign, 1.0)]


def key_scores(evidence: KeyEvidence, weights: np.ndarray, bias: np.ndarray) -> np.ndarray:
    """Scores by tonic and trained mode, shape (12, 4). weights: shape (4, n_tables, 12)."""
    rolled = np.stack([np.roll(evidence.tables, -tonic, axis=1) for tonic in range(12)])
    return np.einsum("tfp,mfp->tm", rolled, weights) + bias


@cache
def _model() -> dict[str, np.ndarray]:
    return models.read_arrays("key/ranker.npz")


def rank_keys(evidence: KeyEvidence) -> tuple[KeyCandidate, ...]:
    """The likeliest tonics and modes, best first."""
    model = _model()
    raw = key_scores(evidence, model["weights"], model["bias"]) * float(model["scale"])
    chance = np.exp(raw - raw.max())
    chance /= chance.sum()
    found: list[tuple[float, int, Mode]] = []
    for tonic in range(12):
        for at, mode in enumerate(TRAINED):
            found.append((float(chance[tonic, at]), tonic, _rare(mode, tonic, evidence.present)))
    found.sort(key=lambda one: -one[0])
    merged: dict[tuple[int, Mode], float] = {}
    for p, tonic, mode in found:
        merged[tonic, mode] = merged.get((tonic, mode), 0.0) + p
    best = sorted(merged, key=lambda name: -merged[name])[:SHOWN]
    return tuple(
        KeyCandidate(key_name(tonic, mode).tonic, mode, round(merged[tonic, mode], 4))
        for tonic, mode in best
    )


def _rare(mode: Mode, tonic: int, present: np.ndarray) -> Mode:
    """Lydian for major with a raised fourth throughout, phrygian for minor with a low second."""
    here = np.roll(present, -tonic)
    if mode == "major" and here[6] > PRESENT and here[5] < 0.1 * here[6]:
        return "lydian"
    if mode == "minor" and here[1] > PRESENT and here[2] < 0.1 * here[1]:
        return "phrygian"
    return mode


def key_remarks(parts: tuple[Part, ...], bar_length: Fraction, key: KeyName) -> tuple[str, ...]:
    """What the user should know about the mode: open, inflected, or different between parts."""
    evidence = KeyEvidence.of_parts(parts, bar_length)
    here = np.roll(evidence.present, -pitch_class(key.tonic))
    return (
        *_open_mode(here, key.mode),
        *_inflected(here, key),
        *_parts_differ(parts, bar_length, key),
    )


def _open_mode(here: np.ndarray, mode: Mode) -> list[str]:
    used = int((here > 0.004).sum())
    name = {5: "pentatonic", 6: "hexatonic"}.get(used)
    third = "major" if here[4] >= here[3] else "minor"
    if name is None:
        return []
    if third == "major" and mode in ("major", "mixolydian") and here[10] + here[11] < 0.004:
        return [f"The tune is {name}: it has no seventh, so major and mixolydian fit equally."]
    if third == "minor" and mode in ("dorian", "minor") and here[8] + here[9] < 0.004:
        return [f"The tune is {name}: it has no sixth, so dorian and minor fit equally."]
    if here[3] + here[4] < 0.004:
        return [f"The tune is {name}: it has no third, so chords without a third suit it."]
    return []


def _inflected(here: np.ndarray, key: KeyName) -> list[str]:
    """Degrees that appear both ways."""
    signature = signature_of(key.tonic, key.mode)
    tonic, steps = pitch_class(key.tonic), scale_steps(key.mode)
    found = []
    for step in steps[1:]:
        for other in (step - 1, step + 1):
            if other % 12 in steps or min(here[step], here[other % 12]) < BOTH:
                continue
            names = [note_name(60 + tonic + pitch, signature) for pitch in (step, other)]
            plain = all(len(name) <= 2 for name in names)
            if plain and names[0][0] == names[1][0]:
                found.append(f"{names[0]} and {names[1]} are both used.")
    return found


def _parts_differ(parts: tuple[Part, ...], bar_length: Fraction, key: KeyName) -> list[str]:
    found = []
    for part in {part.name: part for part in parts}.values():
        if len(parts) < 2 or len(part.bars) < 6:
            continue
        best = rank_keys(KeyEvidence.of_parts((part,), bar_length))[0]
        if best.probability > 0.8 and (best.tonic, best.mode) != (key.tonic, key.mode):
            found.append(f"Part {part.name} on its own seems to be in {best.tonic} {best.mode}.")
    return found
