"""Task: what the user should know about the key of a tune, in sentences.

In: parts and the key that was chosen. Out: remarks: which mode stays open because degrees are
    missing, what is inflected both ways, why a signature is unusual, which part is elsewhere.
Method: shares of time by degree, and the ranker on each part alone.
References: names of the modes by their degrees: ABC standard 2.1, section 3.1.14.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from liltwright.keys import note_name, pitch_class, scale_steps, signature_of
from liltwright.notate.key.evidence import KeyEvidence
from liltwright.notate.key.rank import rank_keys
from liltwright.tune import KeyName, Mode, Part

BOTH = 0.015  # share of the time from which on a degree is used
SECOND_HOME = 0.25  # probability from which on it is worth a word


def key_remarks(parts: tuple[Part, ...], bar_length: Fraction, key: KeyName) -> tuple[str, ...]:
    """What the user should know about the mode: open, inflected, or different between parts."""
    evidence = KeyEvidence.of_parts(parts, bar_length)
    here = np.roll(evidence.present, -pitch_class(key.tonic))
    return (
        *_two_homes(evidence, key),
        *_unusual(here, key),
        *_open_mode(here, key.mode),
        *_inflected(here, key),
        *_parts_differ(parts, bar_length, key),
    )


def _two_homes(evidence: KeyEvidence, key: KeyName) -> list[str]:
    """The second home where it is nearly as likely as the first."""
    first, *others = rank_keys(evidence)
    if (first.tonic, first.mode) != (key.tonic, key.mode):
        return []
    other = next((one for one in others if one.tonic != first.tonic), None)
    if other is None or other.probability < SECOND_HOME:
        return []
    said = " against ".join(f"{one.probability:.2f}" for one in (other, first))
    return [
        f"The home could also be {other.tonic} {other.mode} (likely {said}): "
        f"the key {other.tonic}:{other.mode} writes it so."
    ]


def _unusual(here: np.ndarray, key: KeyName) -> list[str]:
    """Why a tune is lydian or phrygian and not in the major or minor of its signature."""
    degree = {"lydian": (6, "fourth", "raised"), "phrygian": (1, "second", "lowered")}
    if key.mode not in degree:
        return []
    step, name, how = degree[key.mode]
    signature = signature_of(key.tonic, key.mode)
    note = note_name(60 + pitch_class(key.tonic) + step, signature)
    return [
        f"The {name} is {how} throughout ({note}) while phrases rest on {key.tonic}: it is written "
        f"as {key.tonic} {key.mode}, so that {note} needs no accidental."
    ]


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
