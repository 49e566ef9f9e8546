"""Pins: what the user's hand fixes in an arrangement, read from words.

Task: read "5:1/4=string 4 fret 7" and its like.
In:   a text, as it was typed, from a `%%pin` line of tune.abc, or made of an `"@pin ..."`
      annotation.
Out:  Pin.
Method: PLACE=WISH. A place is a bar as printed (5), bars (5-8), the bar of one ending (8(2)), a
    part (B), the pick-up of a part (B0), and after a colon where in the bar, as a fraction of a
    whole note from the bar line (5:1/4). Without a place a pin holds everywhere.
    Wishes: string N, fret N, finger N, open (of melody notes, several together); the same after
    `bass` (of the bass note); no string N, no fret N, no finger N, no open, no bass; chord G;
    keep (the bar as it is in the arrangement made before).
References: annotations and directives as in ABC notation standard 2.1, sections 4.19 and 11.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from liltwright.errors import UsageError
from liltwright.limits import short
from liltwright.tune import Tune, WrittenBar

Kind = Literal["note", "bass", "no bass", "forbid", "chord", "keep"]
MOST = {"string": 6, "fret": 24, "finger": 4}  # highest number of each word
HOW = (
    "write PLACE=WISH, like 5:1/4=string 4 fret 7, 5:0=bass string 6, 5-8=no finger 4, "
    "5=chord Em or 5=keep"
)
_PLACE = re.compile(
    r"(?:(?P<first>\d{1,4})(?:-(?P<last>\d{1,4}))?(?:\((?P<time>\d)\))?|(?P<part>[A-Z])(?P<pickup>0)?)"
    r"(?::(?P<start>\d{1,4}(?:/\d{1,4})?))?"
)
_THUMB = (4, 5, 6)  # strings of the thumb (common practice)


@dataclass(frozen=True, slots=True)
class Where:
    """The bars of a pin, and where in each of them."""

    first: int = 0
    last: int = 0
    """Bars as printed; 0 to 0 for pick-ups."""
    time: int = 0
    """Only the ending for this time through; 0 for all."""
    part: str = ""
    """Only this part: all its bars, or its pick-up."""
    pickup: bool = False
    start: Fraction | None = None
    """From the bar line, as a fraction of a whole note; None for the whole bar."""

    def bars(self, tune: Tune) -> tuple[int, ...]:
        """Indices into Tune.written_bars()."""
        return tuple(i for i, bar in enumerate(tune.written_bars()) if self._has(bar, tune))

    def _has(self, bar: WrittenBar, tune: Tune) -> bool:
        part = tune.parts[bar.part]
        if self.part:
            return part.name == self.part and (bar.kind == "pickup" or not self.pickup)
        times = part.endings[bar.ending].times if bar.kind == "ending" else ()
        fits = not self.time or self.time in times
        return self.first <= bar.number <= self.last and fits


@dataclass(frozen=True, slots=True)
class Pin:
    """One wish of the user's hand."""

    text: str
    """As typed, for messages."""
    kind: Kind
    where: Where | None = None
    """None: everywhere."""
    string: int | None = None
    fret: int | None = None
    finger: int | None = None
    symbol: str = ""

    def meets(self, string: int, fret: int, finger: int) -> bool:
        """Whether a note held so is what the pin names, wanted or forbidden."""
        named = ((self.string, string), (self.fret, fret), (self.finger, finger))
        return all(mine is None or mine == held for mine, held in named)


def parse_pin(text: str) -> Pin:
    """Read one pin. Raises UsageError that says what may be written."""
    place, sign, wish = text.rpartition("=")
    pin = _wish(" ".join(wish.split()), text)
    if sign:
        pin = replace(pin, where=_where(place.strip(), text))
    if pin.where is None and pin.kind not in ("forbid", "no bass"):
        raise UsageError(f'Pin "{short(text)}" names no bar: {HOW}.')
    if pin.kind == "keep" and pin.where is not None and pin.where.start is not None:
        raise UsageError(f'Pin "{short(text)}" keeps whole bars: write the bar alone, like 5=keep.')
    return pin


def _where(text: str, whole: str) -> Where:
    found = _PLACE.fullmatch(text)
    if found is None:
        raise UsageError(f'Pin "{short(whole)}" has no place that can be read: {HOW}.')
    start = None
    if found["start"] is not None:
        upper, _, lower = found["start"].partition("/")
        if lower and not int(lower):
            raise UsageError(f'Pin "{short(whole)}" divides by 0: {HOW}.')
        start = Fraction(int(upper), int(lower or 1))
    if found["part"]:
        return Where(part=found["part"], pickup=bool(found["pickup"]), start=start)
    first = int(found["first"])
    return Where(first, int(found["last"] or first), int(found["time"] or 0), start=start)


def _wish(wish: str, text: str) -> Pin:
    words = wish.split(" ")
    plain = wish.lower()
    if plain in ("keep", "no bass"):
        return Pin(text, "keep" if plain == "keep" else "no bass")
    if words[0].lower() == "chord" and len(words) == 2:
        return Pin(text, "chord", symbol=words[1])
    named = plain.split(" ")
    if named[0] == "no":
        return _held(Pin(text, "forbid"), named[1:])
    if named[0] == "bass":
        pin = _held(Pin(text, "bass"), named[1:])
        if pin.string not in (None, *_THUMB):
            raise UsageError(
                f'Pin "{short(text)}" puts the bass on string {pin.string}: the thumb plays it on '
                "string 4, 5 or 6."
            )
        return pin
    return _held(Pin(text, "note"), named)


def _held(pin: Pin, words: list[str]) -> Pin:
    """The pin with string, fret and finger from words like "string 4 fret 7"."""
    found: dict[str, int] = {}
    left = list(words)
    while left:
        name = left.pop(0)
        if name == "open":
            found["fret"] = 0
            continue
        if name not in MOST or not left or not re.fullmatch(r"[0-9]{1,2}", left[0]):
            raise UsageError(f'Pin "{short(pin.text)}" is not understood: {HOW}.')
        value = int(left.pop(0))
        if not int(name == "string") <= value <= MOST[name]:
            raise UsageError(
                f'Pin "{short(pin.text)}" names {name} {value}: there are {name}s '
                f"{int(name == 'string')} to {MOST[name]}."
            )
        found[name] = value
    if not found:
        raise UsageError(f'Pin "{short(pin.text)}" is not understood: {HOW}.')
    return replace(
        pin, string=found.get("string"), fret=found.get("fret"), finger=found.get("finger")
    )


def place_text(tune: Tune, bar: int, start: Fraction | None = None) -> str:
    """The place of a pin for a written bar (index into Tune.written_bars()) and a start in it."""
    written = tune.written_bars()[bar]
    part = tune.parts[written.part]
    text = str(written.number)
    if written.kind == "pickup":
        text = f"{part.name}0"
    elif written.kind == "ending":
        text = f"{written.number}({part.endings[written.ending].times[0]})"
    return text if start is None else f"{text}:{start}"
