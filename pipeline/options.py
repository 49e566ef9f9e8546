"""What a user may fix instead of the program, read from the words typed on the command line.

Every function takes the text as typed and returns a checked value, or raises UsageError with
what may be written there.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, cast, get_args

from liltwright.errors import UsageError, to_type
from liltwright.keys import parse_key
from liltwright.pins import parse_pin
from liltwright.tab import LAYER_NAMES, LINE_NAMES, Arrangement, LayerName
from liltwright.tune import TUNE_TYPES, KeyName, TuneType

Ear = Literal["own", "swift-f0", "basic-pitch", "pyin"]
Players = Literal["find out", "solo", "band"]
Paper = Literal["a4", "letter"]
Effort = Literal["easier", "as is", "harder"]


@dataclass(frozen=True, slots=True)
class TuneOptions:
    """What the user knows about the tune; None where the program shall find it out."""

    ear: Ear = "own"
    tune_type: TuneType | None = None
    meter: str | None = None
    key: KeyName | None = None
    beats_per_minute: float | None = None
    octave_shift: int | None = None
    first_bar_s: float | None = None
    title: str | None = None
    take: int | None = None
    concert_cents: float | None = None
    players: Players = "find out"
    from_s: float | None = None
    to_s: float | None = None
    band_chords: bool = False


@dataclass(frozen=True, slots=True)
class GuitarOptions:
    """What the user wants on the guitar; None where the program shall choose."""

    tuning: str | None = None
    capo: int | None = None
    sounding_key: KeyName | None = None
    any_key: bool = False
    wide: bool = False
    setups: int = 1
    weights: tuple[tuple[str, float], ...] = ()
    force: bool = False


@dataclass(frozen=True, slots=True)
class LayerOptions:
    """How the arrangement shall be."""

    effort: Effort = "as is"
    ornaments: bool = False
    rounds: str | None = None
    move: int = 0
    pins: tuple[str, ...] = ()
    """What the user's hand fixes, besides Tune.pins; texts as pins.py reads them."""
    earlier: Arrangement | None = None
    """The arrangement that "keep" pins take their bars from."""
    suggest: bool = False
    """Ornaments also where the tune type wants them and none is written."""
    lines: str = ""
    """Which bass line each part takes: "A=restless B=still"."""


@dataclass(frozen=True, slots=True)
class OutputOptions:
    """What is written besides the fixed files."""

    sheets: bool = True
    sound: bool = True
    report: bool = True
    paper: Paper = "a4"
    practice: bool = False


@dataclass(frozen=True, slots=True)
class PracticeOptions:
    """What of a recording to practise with, and how."""

    speed: float = 0.75
    bars: tuple[int, int] | None = None
    part: str | None = None
    times: int = 4
    two_ears: bool = False


def tune_type(text: str) -> TuneType:
    """One of the tune types, however it is capitalised or hyphenated."""
    plain = text.strip().lower().replace("-", " ").replace("_", " ")
    found = next((name for name in TUNE_TYPES if name == plain), None)
    if found is None:
        raise UsageError(
            f'"{text}" is no tune type known here: use one of {", ".join(TUNE_TYPES)}.'
        )
    return found


def meter(text: str) -> str:
    """A time signature such as 6/8."""
    if not re.fullmatch(r"(2|3|4|6|9|12)/(2|4|8)", text) or not (
        Fraction(1, 4) <= Fraction(text) <= Fraction(3, 2)
    ):
        raise UsageError(f'"{text}" is not a metre of dance tunes: write it like 6/8, 4/4 or 9/8.')
    return text


def key(text: str) -> KeyName:
    """A tonic and mode such as D:mixolydian."""
    return parse_key(text)


def ear(text: str) -> Ear:
    """Which note tracker listens."""
    return cast(Ear, _one_of(text, get_args(Ear), to_type("ear", "the ear")))


def players(band: bool | None) -> Players:
    """Who plays, by whether the user said that it is a band."""
    return "find out" if band is None else "band" if band else "solo"


def seconds(text: str) -> float:
    """A time in a recording, in seconds or as minutes and seconds: 75, 75.5 or 1:15."""
    found = re.fullmatch(r"(?:(\d{1,3}):)?(\d{1,4}(?:\.\d{1,3})?)", text.strip())
    if not found or (found[1] and float(found[2]) >= 60):
        raise UsageError(
            f'"{text}" is no time in a recording: write seconds, or minutes and seconds like 1:15.'
        )
    return 60.0 * int(found[1] or 0) + float(found[2])


def weights(texts: list[str]) -> tuple[tuple[str, float], ...]:
    """Pairs such as flow=2: what matters more (above 1) or less (below 1) in the ranking."""
    pairs = []
    for text in texts:
        name, _, number = text.partition("=")
        try:
            factor = float(number)
        except ValueError:
            factor = -1.0
        if not name or not 0 <= factor <= 10:
            raise UsageError(f'"{text}" is not a weight: write it like flow=2, from 0 to 10.')
        pairs.append((name.strip(), factor))
    return tuple(pairs)


def guitar(
    tuning: str | None,
    capo: int | None,
    sound_in: str | None,
    setups: int,
    matters: list[str] | None,
    wide: bool,
    force: bool = False,
) -> GuitarOptions:
    """The wishes for the guitar; `sound_in` is a key or "any"."""
    any_key = sound_in is not None and sound_in.strip().lower() == "any"
    sounding = None if any_key or sound_in is None else parse_key(sound_in)
    chosen = weights(matters or [])
    return GuitarOptions(tuning, capo, sounding, any_key, wide, setups, chosen, force)


def for_tunes(texts: list[str] | None, tunes: int, name: str) -> list[str | None]:
    """What is said of each tune of a set: "DADGAD" for all, "2=DADGAD" for the second."""
    found: list[str | None] = [None] * tunes
    for text in texts or ():
        number, sign, value = text.partition("=")
        if not sign:
            found = [text.strip()] * tunes
        elif number.strip().isdecimal() and 1 <= int(number[:9]) <= tunes and value.strip():
            found[int(number) - 1] = value.strip()
        else:
            raise UsageError(
                f'{name} "{text}" names no tune of this set: write a value for all, or '
                f"1={value or text} to {tunes}={value or text} for one."
            )
    return found


def guitars(
    tunings: list[str] | None, capos: list[str] | None, sound_in: str | None, tunes: int
) -> list[GuitarOptions]:
    """The wishes for each tune of a set."""
    found = []
    rows = zip(
        for_tunes(tunings, tunes, to_type("tuning", "the tuning")),
        for_tunes(capos, tunes, to_type("capo", "the capo")),
        strict=True,
    )
    for tuning, fret in rows:
        if fret is not None and not re.fullmatch(r"[0-9]{1,2}", fret):
            raise UsageError(
                f'{to_type("capo", "the capo")} "{fret}" is no fret: write a number from 0 to 11.'
            )
        capo = None if fret is None else int(fret)
        found.append(guitar(tuning, capo, sound_in, 1, None, False))
    return found


def bars(text: str | None) -> tuple[int, int] | None:
    """First and last bar from "5-8", or one bar from "5"."""
    if text is None:
        return None
    found = re.fullmatch(r"(\d+)(?:-(\d+))?", text.strip())
    if not found:
        raise UsageError(f'"{text}" are no bars: write the first and the last, like 5-8.')
    return int(found[1]), int(found[2] or found[1])


def effort(text: str) -> Effort:
    """How hard the arrangement may be."""
    return cast(
        Effort, _one_of(text.replace("-", " "), get_args(Effort), to_type("effort", "the effort"))
    )


def pins(texts: list[str] | None) -> tuple[str, ...]:
    """Pins such as 5:1/4=string 4, each checked for what can be read without the tune."""
    for text in texts or ():
        parse_pin(text)
    return tuple(texts or ())


def layer(text: str) -> str:
    """A layer by name, or the performance of them."""
    return _one_of(text, (*LAYER_NAMES, *LINE_NAMES, "performance"), to_type("layer", "the layer"))


def plain_layer(text: str) -> LayerName:
    """A layer by name, not the performance."""
    return cast(LayerName, _one_of(text, LAYER_NAMES, to_type("layer", "the layer")))


def paper(text: str) -> Paper:
    """A paper size."""
    return cast(Paper, _one_of(text.lower(), get_args(Paper), to_type("paper", "the paper")))


def _one_of(text: str, allowed: tuple[str, ...], name: str) -> str:
    if text not in allowed:
        raise UsageError(f'{name} "{text}" is not known: use one of {", ".join(allowed)}.')
    return text
