"""String tension: what a tuning does to every string, and cautions for the player.

Task: say how much tighter or slacker each string gets, and warn.
In: open strings as MIDI numbers low to high, the usual pitches, scale length, string set.
Out: tensions in newton, changes in per cent, sentences of caution.
Method: Mersenne's law T = 4 m L^2 f^2; a capo does not change it. A plain string breaks at a
pitch that does not depend on its gauge: f = sqrt(strength / density) / (2 L).
References: Mersenne 1636, Harmonie universelle; Fletcher and Rossing, The Physics of Musical
Instruments, chapter 2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from liltwright import models
from liltwright.errors import UsageError
from liltwright.guitar.tunings import changes, standard, with_octaves
from liltwright.keys import note_name
from liltwright.units import midi_to_hz

FILE = "strings/strings.json"
INCH_M = 0.0254  # metres in an inch, by definition
WORDS = {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth"}


@dataclass(frozen=True, slots=True)
class StringTension:
    """One string in a tuning: its tension and the change from its usual pitch."""

    string: int
    midi: int
    tension_n: float
    semitones: int
    percent: float
    near_breaking: bool


def string_sets() -> tuple[str, ...]:
    """Names of the catalogued string sets."""
    return tuple(models.read_json(FILE)["sets"])


def mass_kg_m(string_set: str, string: int) -> float:
    """Mass of a string per metre. Raises UsageError for an unknown set."""
    table = models.read_json(FILE)
    if string_set not in table["sets"]:
        raise UsageError(f'"{string_set}" is no string set; choose {", ".join(string_sets())}.')
    row = table["sets"][string_set]
    if string > row["plain"]:
        return float(row["wound_g_m"][string - row["plain"] - 1]) / 1000.0
    return plain_mass_kg_m(row["inch"][string - 1] * INCH_M)


def plain_mass_kg_m(diameter_m: float) -> float:
    """Mass per metre of a plain steel string."""
    return float(models.read_json(FILE)["density_kg_m3"]) * math.pi / 4.0 * diameter_m**2


def tension_n(mass_per_m: float, scale_m: float, frequency_hz: float) -> float:
    """Mersenne's law, in newton."""
    return 4.0 * mass_per_m * scale_m**2 * frequency_hz**2


def change_percent(semitones: float) -> float:
    """Change of tension in per cent when a string is tuned by so many semitones."""
    return 100.0 * (2.0 ** (semitones / 6.0) - 1.0)


def breaking_hz(scale_m: float) -> float:
    """Pitch in Hz near which a plain steel string breaks, whatever its gauge."""
    table = models.read_json(FILE)
    return math.sqrt(table["strength_pa"] / table["density_kg_m3"]) / (2.0 * scale_m)


def tensions(
    strings_midi: Sequence[int], *, scale_mm: float = 648.0, string_set: str = "light"
) -> tuple[StringTension, ...]:
    """Every string from the first to the sixth."""
    usual = standard()
    return tuple(
        StringTension(
            string,
            strings_midi[6 - string],
            tension_n(
                mass_kg_m(string_set, string),
                scale_mm / 1000.0,
                midi_to_hz(float(strings_midi[6 - string])),
            ),
            strings_midi[6 - string] - usual[6 - string],
            change_percent(strings_midi[6 - string] - usual[6 - string]),
            near_breaking(string, strings_midi[6 - string], scale_mm=scale_mm),
        )
        for string in range(1, 7)
    )


def near_breaking(string: int, midi: int, *, scale_mm: float = 648.0) -> bool:
    """Whether a string at this pitch is too near to breaking to be tried."""
    table = models.read_json(FILE)
    if string <= 2:
        return midi_to_hz(float(midi)) > breaking_hz(scale_mm / 1000.0)
    return midi - standard()[6 - string] > table["wound_most_up"]


def refuse_breaking(strings_midi: Sequence[int], *, scale_mm: float = 648.0) -> None:
    """Raise UsageError when a string of the tuning is near its breaking pitch."""
    for string in range(1, 7):
        midi = strings_midi[6 - string]
        if near_breaking(string, midi, scale_mm=scale_mm):
            raise UsageError(
                f"{with_octaves(strings_midi)}: the {WORDS[string]} string at "
                f"{note_name(midi, octave=True)} is near its breaking pitch; "
                "tune lower and use a capo, or force it with lighter strings."
            )


@lru_cache(maxsize=4096)
def cautions(
    strings_midi: tuple[int, ...], *, scale_mm: float = 648.0, string_set: str = "light"
) -> tuple[str, ...]:
    """Sentences to show wherever this tuning is shown; empty when nothing is to be said."""
    table = models.read_json(FILE)
    said = []
    rising = [(s, n) for s, n in changes(strings_midi, standard()) if n >= table["warn_up"]]
    slack = [(s, n) for s, n in changes(strings_midi, standard()) if n <= table["slack_down"]]
    breaking = [s for s in range(1, 7) if near_breaking(s, strings_midi[6 - s], scale_mm=scale_mm)]
    if breaking:
        said.append(
            f"Do not tune the {_strings(breaking)} so high: it is near the breaking pitch. "
            "Tune lower and use a capo."
        )
    strong = [(s, n) for s, n in rising if n >= table["strong_warning_up"]]
    if strong:
        string, up = max(strong, key=lambda pair: pair[1])
        said.append(
            f"Danger of a snapped string: the {_strings([s for s, _ in strong])} would go up "
            f"{up} semitones ({change_percent(up):.0f} % more tension on the {WORDS[string]}); "
            "use lighter strings made for it, or tune lower with a capo."
        )
    if rising:
        most = max(n for _, n in rising)
        said.append(
            f"The {_strings([s for s, _ in rising])} {'goes' if len(rising) == 1 else 'go'} above "
            f"the usual pitch, up to {change_percent(most):.0f} % more tension: tune slowly, keep "
            "the face away, and think of an old guitar's neck."
        )
    if slack:
        said.append(
            f"The {_strings([s for s, _ in slack])} will be slack "
            f"({change_percent(min(n for _, n in slack)):.0f} % tension): it may buzz; "
            "a heavier string helps."
        )
    return tuple(said)


def _strings(numbers: Sequence[int]) -> str:
    """ "sixth and fifth strings"."""
    words = [WORDS[number] for number in sorted(numbers, reverse=True)]
    joined = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
    return f"{joined} string{'' if len(words) == 1 else 's'}"
