"""Music code of ABC notation -> bars.

Task     read the notes, rests, bar lines and signs of one voice of an ABC tune
In       lines of music code and the fields that stand among them
Out      ReadBars, in the order of the page
Method   one regular expression finds the next sign; lengths are whole numbers of ticks until the
         end, as every length that ABC can state is one. Of a chord the top note is the melody.
         Signs that say nothing about pitch or length (bowing, slurs, annotations) are passed over.
References  ABC notation standard 2.1, section 4 (the tune body). Accidentals last to the bar line
         in every octave (11.3, propagate-accidentals: pitch).
"""

from __future__ import annotations

import re
from fractions import Fraction

from liltwright.errors import UsageError
from liltwright.limits import whole
from liltwright.pins import parse_pin
from liltwright.read.abc_fields import (
    AbcKey,
    parse_key_field,
    parse_length,
    parse_meter,
    parse_times,
    ticks_of,
)
from liltwright.read.abc_open import TICKS, AbcEvent, Begun, OpenBar, finish
from liltwright.read.abc_signs import (
    ACCIDENTALS,
    BASE_MIDI,
    CHORD_SYMBOL,
    INNER_NOTE,
    LONGEST_SYMBOL,
    NOT_NOTES,
    PIN,
    PLAIN_TUPLETS,
    SIGNS,
    SILENT,
    TOKEN,
)
from liltwright.read.bars import PIN_BAR, PIN_NOTE, ReadBar
from liltwright.tune import Ornament


class MusicReader:
    """Reads one tune body; feed it lines and fields in order, then take `bars()`."""

    def __init__(self, key: AbcKey, meter: str, unit: Fraction) -> None:
        self._key = key
        self._set_meter(meter)
        self._unit = int(unit * TICKS)
        self._done: list[OpenBar] = []
        self._bar = OpenBar()
        self._altered: dict[str, int] = {}
        self._last: AbcEvent | None = None
        self._broken = 0
        self._tuplet = (0, 1, 1)  # notes left, time of, notes in all
        self._ornament: Ornament | None = None
        self._graces: tuple[int, ...] = ()
        self._overlay = False
        self._voice: str | None = None
        self._muted = False
        self._signs = dict(SIGNS)
        self._named = set("~.HJLMOPRSTuv")
        self._line = 0
        self.warnings: dict[str, None] = {}
        self.strays: list[tuple[int, int, str]] = []
        """Line, index of the bar and text of what was not understood."""
        self._handlers = {
            "note": self._note, "rest": self._rest, "chord": self._chord, "bar": self._bar_line,
            "ending": self._ending, "text": self._text, "grace": self._grace,
            "broken": self._broken_rhythm, "tuplet": self._start_tuplet, "tie": self._tie,
            "sign": self._sign, "field": self._inline_field, "overlay": self._start_overlay,
        }  # fmt: skip

    def line(self, text: str, number: int = 0) -> None:
        """Read one line of music code, comments already taken off; its number in the file."""
        handlers = self._handlers
        self._line = number
        end = 0
        for found in TOKEN.finditer(text):
            kind = found.lastgroup
            if not self._muted:
                self._passed_over(text[end : found.start()])
            end = found.end()
            if kind and (not self._muted or kind == "field"):
                handlers[kind](found)
        if not self._muted:
            self._passed_over(text[end:])

    def _passed_over(self, text: str) -> None:
        """Keep what stands between two signs and says nothing, with its line and bar."""
        for piece in SILENT.sub(" ", text).split() if text else ():
            self.strays.append((self._line, len(self._done), piece))

    def places(self) -> list[tuple[int, Fraction]]:
        """Of each bar of `bars()` the line on which it begins, and how long a full bar is."""
        return [(bar.line, Fraction(bar.full, TICKS)) for bar in self._done]

    def field(self, letter: str, value: str) -> None:
        """Apply a field that stands between the lines of music or in brackets inside one."""
        if letter == "V":
            self._change_voice(value)
        elif self._muted:
            return
        elif letter == "K":
            key = parse_key_field(value)
            if key.states_key:
                self._key = key
        elif letter == "M":
            meter = parse_meter(value)
            if meter:
                self._set_meter(meter)
        elif letter == "L":
            self._unit = int(parse_length(value) * TICKS)
        elif letter == "P":
            self._part_label(value)
        elif letter == "U" and "=" in value:
            sign, meaning = (half.strip() for half in value.split("=", 1))
            ornament = SIGNS.get(meaning.strip("!+"))
            self._named.add(sign)
            if ornament:
                self._signs[sign] = ornament

    def _set_meter(self, meter: str) -> None:
        self._full = int(Fraction(meter) * TICKS)
        self._compound = meter.partition("/")[0] in ("6", "9", "12", "15")

    def bars(self) -> list[ReadBar]:
        """Everything read, ties joined: a tied note is one note that may ring past its bar."""
        self._close_bar()
        finished = []
        head: list[int] | None = None  # [midi, start, ticks] of the note that a tie continues
        notes_of: list[list[Begun]] = []
        for bar in self._done:
            notes: list[Begun] = []
            position = 0
            for event in bar.events:
                if event.midi is not None:
                    if head is not None and head[0] == event.midi:
                        head[2] += event.ticks
                    else:
                        head = [event.midi, position, event.ticks]
                        notes.append((head, event.ornament, event.graces))
                if not event.tie:
                    head = None
                position += event.ticks
            notes_of.append(notes)
        for bar, notes in zip(self._done, notes_of, strict=True):
            finished.append(finish(bar, notes))
        return finished

    # ------------------------------------------------------------ notes

    def _note(self, found: re.Match[str]) -> None:
        accidental, letter, octave, number, slashes, divisor = found.group(2, 3, 4, 5, 6, 7)
        midi = self._pitch(accidental, letter, octave)
        self._add(midi, (letter, octave), ticks_of(self._unit, number, slashes, divisor))

    def _pitch(self, accidental: str | None, letter: str, octave: str) -> int:
        midi = BASE_MIDI[letter] + self._key.octave * 12
        if octave:
            midi += 12 * (octave.count("'") - octave.count(","))
        upper = letter.upper()
        if accidental:
            self._altered[upper] = ACCIDENTALS[accidental]
        elif (
            (last := self._last) is not None
            and last.tie
            and last.place == (letter, octave)
            and last.midi is not None
        ):
            return last.midi
        alter = self._altered.get(upper)
        return midi + (self._key.alters[upper] if alter is None else alter)

    def _add(self, midi: int | None, place: tuple[str, str], ticks: int) -> None:
        if self._overlay:
            return
        left, numerator, denominator = self._tuplet
        if left:
            ticks = ticks * numerator // denominator
            self._tuplet = (left - 1, numerator, denominator)
        if self._broken:
            size = 1 << abs(self._broken)
            longer, shorter = 2 * size - 1, 1
            first, second = (longer, shorter) if self._broken > 0 else (shorter, longer)
            if self._last is not None:
                self._last.ticks = self._last.ticks * first // size
                ticks = ticks * second // size
            self._broken = 0
        event = AbcEvent(midi, place, ticks)
        if midi is not None:
            event.ornament, event.graces = self._ornament, self._graces
        self._ornament, self._graces = None, ()
        self._bar.events.append(event)
        self._bar.line = self._bar.line or self._line
        self._last = event

    def _rest(self, found: re.Match[str]) -> None:
        kind, number, slashes, divisor = found.group(*_after(found, 4))
        if kind in "ZX":
            self._whole_bar_rests(whole(number or "1"))
            return
        self._add(None, ("z", ""), ticks_of(self._unit, number, slashes, divisor))

    def _whole_bar_rests(self, count: int) -> None:
        for index in range(min(count, 64)):
            if index:
                self._close_bar()
            self._bar.events.append(AbcEvent(None, ("Z", ""), self._full))
            self._bar.line = self._bar.line or self._line
        self._last = None

    def _chord(self, found: re.Match[str]) -> None:
        inside, old_style, number, slashes, divisor = found.group(*_after(found, 5))
        best: tuple[int, tuple[str, str], int] | None = None
        first_ticks = 0
        for note in INNER_NOTE.finditer(NOT_NOTES.sub("", inside or old_style or "")):
            accidental, letter, octave, *length = note.groups()
            midi = self._pitch(accidental, letter, octave)
            first_ticks = first_ticks or ticks_of(self._unit, *length)
            if best is None or midi > best[0]:
                best = (midi, (letter, octave), first_ticks)
        if best is not None:
            self._add(best[0], best[1], ticks_of(first_ticks, number, slashes, divisor))
            if inside and "-" in inside and self._last is not None:
                self._last.tie = True

    def _grace(self, found: re.Match[str]) -> None:
        notes = list(INNER_NOTE.finditer(found.group(_after(found, 1)[0])))
        pitches = [self._pitch(*note.group(1, 2, 3)) for note in notes]
        if not pitches or self._ornament is not None or self._overlay:
            return
        self._graces = tuple(pitches)
        if len(pitches) > 1:
            self._ornament = "grace"
            return
        following = INNER_NOTE.search(found.string, found.end())
        below = following is not None and pitches[0] < (
            BASE_MIDI[following.group(2)]
            + 12 * (following.group(3).count("'") - following.group(3).count(","))
        )
        self._ornament = "tap" if below else "cut"

    def _tie(self, found: re.Match[str]) -> None:
        if self._last is not None and self._last.midi is not None and not self._overlay:
            self._last.tie = True

    def _broken_rhythm(self, found: re.Match[str]) -> None:
        signs = found.group()
        self._broken = min(len(signs), 4) * (1 if signs[0] == ">" else -1)

    def _start_tuplet(self, found: re.Match[str]) -> None:
        count, time, notes = found.group(*_after(found, 3))
        size = whole(count)
        if size < 2:
            return
        default = PLAIN_TUPLETS.get(size, 3 if self._compound else 2)
        self._tuplet = (whole(notes or count), whole(time) if time else default, size)

    # ------------------------------------------------------------ signs

    def _sign(self, found: re.Match[str]) -> None:
        sign = found.group()
        name = sign.strip("!+") or sign
        if len(sign) == 1 and sign not in self._named:
            self._passed_over(sign)
        if self._signs.get(name):
            self._ornament = self._signs[name]
        elif name.upper().rstrip(".") in ("D.C", "D.S", "DACAPO", "DACODA", "D.C.ALFINE"):
            self.warnings[
                f"The sign {name} is not followed: every part is taken once in order."
            ] = None

    def _text(self, found: re.Match[str]) -> None:
        symbol = found.group().strip('"').strip()
        pin = PIN.match(symbol)
        if pin and not self._overlay:
            self._pin(symbol[pin.end() :], whole_bar=bool(pin[1]))
        elif len(symbol) <= LONGEST_SYMBOL and CHORD_SYMBOL.fullmatch(symbol) and not self._overlay:
            self._bar.chords.append((len(self._bar.events), symbol))

    def _pin(self, wish: str, *, whole_bar: bool) -> None:
        """An annotation of the user's hand, "@pin string 4", over the note or for the bar."""
        try:
            kind = parse_pin(f"1={wish}").kind
        except UsageError:
            self.strays.append((self._line, len(self._done), f"pin {wish}"))
            return
        over = PIN_BAR if whole_bar or kind == "keep" else PIN_NOTE
        self._bar.chords.append((len(self._bar.events), over + wish))

    def _inline_field(self, found: re.Match[str]) -> None:
        letter, value = found.group(*_after(found, 2))
        self.field(letter, value)

    def _start_overlay(self, found: re.Match[str]) -> None:
        self._overlay = True

    def _change_voice(self, value: str) -> None:
        name = value.split()[0] if value.split() else ""
        if self._voice is None:
            self._voice = name
        self._muted = name != self._voice

    # ------------------------------------------------------------ bar lines

    def _bar_line(self, found: re.Match[str]) -> None:
        signs, number = found.group(*_after(found, 2))
        if signs == ":" or signs == "]":
            return
        signs = signs.replace("[|]", "") or "|"
        plain = signs.replace("[", "").replace("]", "").replace(".", "")
        before = len(plain) - len(plain.lstrip(":"))
        after = len(plain) - len(plain.rstrip(":"))
        if not plain.strip(":"):  # "::" ends one part and begins the next
            before = after = len(plain) // 2
        elif not before and not after and ":" in plain:
            before = after = 1
        last = self._close_bar()
        if last is not None:
            if before:
                last.closes, last.times = True, max(last.times, before + 1)
            elif "||" in plain or "]" in signs or "[" in signs:
                last.closes = True
        if after:
            self._bar.opens = True
        if number:
            self._bar.ending = parse_times(number)
        if self._last is not None and (before or after or number or (last and last.closes)):
            self._last.tie = False

    def _ending(self, found: re.Match[str]) -> None:
        if self._bar.events:
            self._close_bar()
        self._bar.ending = parse_times(found.group(_after(found, 1)[0]))
        if self._last is not None:
            self._last.tie = False

    def _part_label(self, value: str) -> None:
        last = self._close_bar()
        if last is not None and last.times == 1:
            last.closes = True
        self._bar.label = value.strip() if len(value.strip()) == 1 else ""

    def _close_bar(self) -> OpenBar | None:
        """End the current bar if anything is in it; the last finished bar, if any."""
        self._altered = {}
        self._overlay = False
        if self._bar.events:
            self._bar.full = self._full
            self._done.append(self._bar)
            self._bar = OpenBar()
        return self._done[-1] if self._done else None


def _after(found: re.Match[str], count: int) -> range:
    """Numbers of the `count` groups that follow the named group of this sign."""
    first = TOKEN.groupindex[found.lastgroup or ""] + 1
    return range(first, first + count)


def inner_notes(found: re.Match[str]) -> list[tuple[str | None, str, str]]:
    """Accidental, letter and octave signs of every note of a chord."""
    inside, old_style = found.group(*_after(found, 2))
    plain = NOT_NOTES.sub("", inside or old_style or "")
    return [(note[1], note[2], note[3]) for note in INNER_NOTE.finditer(plain)]
