"""What a MIDI file states beside its notes: title, key, metres, tempo, bar lines and marks.

Task     read the meta events of all tracks
In       a parsed file
Out      plain values in ticks, and the bars between the lines
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

import mido

from liltwright.keys import parse_key, signature_of
from liltwright.limits import check, clean, whole
from liltwright.read.bars import ReadBar
from liltwright.read.midi_grid import GRID, snapped
from liltwright.read.written import Stated
from liltwright.tune import KeyName, ScoreNote

PLAIN_NAMES = ("melody", "guitar", "piano", "tune")
_PART = re.compile(r"[A-Z]['0-9]{0,9}")
_MARK = re.compile(r"[A-Z]['0-9]{0,9}|ending [0-9,]{1,30}")
_ABOUT = re.compile(r"([a-z ]+) in ([0-9]+/[0-9]+), ([A-G][#b]? [a-z]+), beat ([0-9]+/[0-9]+)")


def metas_of(file: mido.MidiFile) -> list[tuple[int, mido.MetaMessage]]:
    """What the file says besides notes, with ticks."""
    found = []
    for track in file.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.is_meta:
                found.append((now, message))
    found.sort(key=lambda one: one[0])
    return found


def stated_in(metas: Sequence[tuple[int, mido.MetaMessage]], meter: str) -> Stated:
    """What the file says of the tune. A key signature alone leaves the mode open."""
    title, about = "", None
    signature: int | None = None
    tempo: Fraction | None = None
    for tick, message in metas:
        if message.type == "track_name" and tick == 0 and not title:
            title = "" if message.name.lower() in PLAIN_NAMES else clean(message.name).strip()
        elif message.type == "text" and about is None:
            about = _ABOUT.fullmatch(message.text.strip())
        elif message.type == "key_signature" and signature is None:
            key = KeyName(message.key.rstrip("m"), "minor" if message.key[-1] == "m" else "major")
            signature = signature_of(key.tonic, key.mode)
        elif message.type == "set_tempo" and tempo is None:
            tempo = Fraction(60_000_000, 4 * message.tempo)
    return Stated(
        title=title,
        meter=meter,
        kind=about.group(1) if about else "",
        key=parse_key(about.group(3)) if about else None,
        signature=signature if about else None,
        whole_notes_a_minute=tempo.limit_denominator(1000) if tempo else None,
    )


def marks_of(metas: Sequence[tuple[int, mido.MetaMessage]], whole: int) -> dict[Fraction, str]:
    """Part names and endings by position; other markers are passed over."""
    marks: dict[Fraction, str] = {}
    for tick, message in metas:
        if message.type == "marker" and _MARK.fullmatch(message.text):
            at = snapped(tick, whole, GRID)
            marks[at] = f"{marks.get(at, '')} {message.text}".strip()
    return marks if any(_PART.fullmatch(text.split()[0]) for text in marks.values()) else {}


def meters_of(metas: Sequence[tuple[int, mido.MetaMessage]], end: int) -> list[tuple[int, str]]:
    """The metres of the file with the ticks from which they count; 4/4 where none is stated."""
    found = {
        tick: f"{message.numerator}/{message.denominator}"
        for tick, message in metas
        if message.type == "time_signature" and tick < end
    }
    return sorted(found.items()) if 0 in found else [(0, "4/4"), *sorted(found.items())]


def named_meter(metas: Sequence[tuple[int, mido.MetaMessage]]) -> str:
    """The metre that this program's own files name."""
    texts = (one.text.strip() for _, one in metas if one.type == "text")
    return next((found.group(2) for found in map(_ABOUT.fullmatch, texts) if found), "")


def main_meter(meters: Sequence[tuple[int, str]], end: int) -> str:
    """The metre of most of the file."""
    ticks: dict[str, int] = {}
    for place, (tick, meter) in enumerate(meters):
        until = meters[place + 1][0] if place + 1 < len(meters) else end
        ticks[meter] = ticks.get(meter, 0) + until - tick
    return max(ticks, key=lambda meter: ticks[meter])


def bars_between(
    notes: Sequence[tuple[Fraction, Fraction, int]],
    lines: Sequence[Fraction],
    marks: dict[Fraction, str],
) -> list[ReadBar]:
    """The notes between bar lines; what the markers say stands on the bars."""
    bars: list[ReadBar] = []
    at = 0
    for begin, end in pairwise(lines):
        inside = []
        while at < len(notes) and notes[at][0] < end:
            start, stop, midi = notes[at]
            inside.append(ScoreNote(midi, start - begin, stop - start))
            at += 1
        label, ending = signs_of(marks.get(begin, ""))
        if not bars and not inside and marks and begin not in marks:
            continue  # the silence before the first pick-up
        bars.append(ReadBar(tuple(inside), end - begin, label=label, ending=ending))
    return bars


def signs_of(mark: str) -> tuple[str, tuple[int, ...]]:
    """The part's name and the ending that a marker states."""
    words = mark.split()
    ending = words[-1].split(",") if "ending" in words else []
    label = next((word for word in words if _PART.fullmatch(word)), "")
    return label, tuple(whole(time) for time in ending if time.isdecimal())


def lines_of(
    meters: Sequence[tuple[int, str]], marks: Sequence[Fraction], end: Fraction, whole: int
) -> list[Fraction]:
    """Every bar line from the beginning to the end; a marker inside a bar is one too."""
    lines = {Fraction(0), *marks}
    for place, (tick, meter) in enumerate(meters):
        now = Fraction(tick, whole)
        until = Fraction(meters[place + 1][0], whole) if place + 1 < len(meters) else end
        while now < until:
            lines.add(now)
            check("bars", len(lines) - 2 - len(marks), "The MIDI file")
            now += Fraction(meter)
    return [*sorted(line for line in lines if line < end), end]
