"""ABC notation -> Tune.

Task     read a tune, or every tune of a book, from ABC text
In       text; the name of the file it came from
Out      Tune (one), or AbcBook (tunes, and what could not be read)
Method   fields and music code are told apart line by line; abc_music.py reads the music code,
         folding.py finds the parts. The type comes from R:, else from the title, else from the
         metre. Only the first voice is read, and only the top note of a chord.
References  ABC notation standard 2.1 (abcnotation.com/wiki/abc:standard:v2.1), sections 2 to 4.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from fractions import Fraction

from liltwright.errors import PipelineError, UsageError
from liltwright.limits import check, limit, short
from liltwright.pins import parse_pin
from liltwright.read.abc_faults import (
    LEFT,
    odd_bar_words,
    odd_bars,
    stray_words,
    unknown_field,
)
from liltwright.read.abc_fields import (
    AbcKey,
    default_length,
    parse_key_field,
    parse_length,
    parse_meter,
    parse_tempo,
    plain_text,
)
from liltwright.read.abc_music import MusicReader
from liltwright.read.written import Stated, written_tune
from liltwright.tune import KeyName, Source, Tune

_FIELD = re.compile(r"([A-Za-z]):(?![|:\]])\s*(.*)")
_FIELDS = "ABCDEFGHIKLMNOPQRSTUVWXZmrsw"
"""Letters of the fields that ABC knows; E is of old files."""
_NOT_MUSIC = re.compile(r"[^\sA-Ga-gzxyZX\d|:\[\](){}<>/,'^_=~.\-\"!HLMOPSTuv`\\&]")
_TUNE_START = re.compile(r"^X:[ \t]*(\d*)", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class AbcBook:
    """The tunes of a book, and a sentence for each that could not be read."""

    tunes: tuple[Tune, ...]
    faults: tuple[str, ...] = ()

    def __iter__(self) -> Iterator[Tune]:
        """The tunes in the order of the book."""
        return iter(self.tunes)

    def __len__(self) -> int:
        """How many tunes could be read."""
        return len(self.tunes)


@dataclass(slots=True)
class AbcHeader:
    """The fields before the music."""

    titles: list[str] = field(default_factory=list)
    values: dict[str, str] = field(default_factory=dict)
    key: AbcKey | None = None
    signs: list[str] = field(default_factory=list)
    """Values of the U: fields."""
    remarks: list[str] = field(default_factory=list)
    """Lines that are not understood, for the user."""


def read_abc(
    text: str,
    *,
    name: str,
    tune_number: int | None = None,
    known_odd: Collection[tuple[int, Fraction]] = (),
) -> Tune:
    """Read one tune: the one numbered X:`tune_number`, or the first.

    known_odd : bars, as number and length, whose odd length is meant and needs no word.
    Raises PipelineError when there is no such tune, no key or no note.
    """
    source = _source(text, name)
    pieces = tunes_in(text)
    if not pieces:
        raise PipelineError(f"{name} holds no ABC tune: a tune needs an X: line and a K: line.")
    if tune_number is None:
        return _read_tune(*pieces[0], source, known_odd)
    for piece, line in pieces:
        if _number(piece) == tune_number:
            return _read_tune(piece, line, source, known_odd)
    known = ", ".join(str(_number(piece)) for piece, _ in pieces[:12])
    raise PipelineError(f"{name} holds no tune X:{tune_number}; it holds {known}.")


def odd_bars_of_abc(text: str) -> frozenset[tuple[int, Fraction]]:
    """Number and length of the bars that do not add up, in ABC that the program wrote."""
    lines = list(enumerate(text.splitlines(), 1))
    header, body_start = read_header(lines)
    meter = parse_meter(header.values.get("M", "4/4"))
    if header.key is None or meter is None:
        return frozenset()
    unit = parse_length(header.values.get("L", ""), default_length(meter))
    reader = MusicReader(header.key, meter, unit)
    read_body(lines[body_start:], reader, [], [])
    bars = reader.bars()
    return frozenset((number, length) for _, number, length, _ in odd_bars(bars, reader.places()))


def read_abc_book(text: str, *, name: str = "the book") -> AbcBook:
    """Read every tune of a book; a tune that cannot be read is skipped and said in `faults`."""
    source = _source(text, name)
    tunes, faults = [], []
    for piece, line in tunes_in(text):
        try:
            tunes.append(_read_tune(piece, line, source))
        except PipelineError as fault:
            faults.append(str(fault))
    return AbcBook(tuple(tunes), tuple(faults))


def _source(text: str, name: str) -> Source:
    return Source(name, hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest())


def tunes_in(text: str) -> list[tuple[str, int]]:
    """Cut a book before each X: line, with the number of that line.

    A text without one counts as one tune if it has a K:.
    """
    starts = [found.start() for found in _TUNE_START.finditer(text)]
    if not starts:
        return [(text, 1)] if re.search(r"^K:", text, re.MULTILINE) else []
    ends = [*starts[1:], len(text)]
    lines = [text.count("\n", 0, start) + 1 for start in starts]
    return [(text[a:b], line) for a, b, line in zip(starts, ends, lines, strict=True)]


def _number(piece: str) -> int:
    found = _TUNE_START.search(piece)
    digits = (found.group(1) if found else "")[: limit("digits")]
    return int(digits) if digits else 0


def _read_tune(
    piece: str, first_line: int, source: Source, known_odd: Collection[tuple[int, Fraction]] = ()
) -> Tune:
    lines = list(enumerate(piece.splitlines(), first_line))
    check("text_tune", len(piece), f"{source.file}, tune {_number(piece)},")
    check(
        "text_line",
        max((len(line) for _, line in lines), default=0),
        f"{source.file}, tune {_number(piece)},",
    )
    try:
        return _tune_of_lines(lines, piece, source, known_odd)
    except ValueError as fault:
        which = f"{source.file}, tune {_number(piece)}"
        raise PipelineError(f"{which} cannot be read: {fault}; correct it.") from fault


def _tune_of_lines(
    lines: list[tuple[int, str]],
    piece: str,
    source: Source,
    known_odd: Collection[tuple[int, Fraction]],
) -> Tune:
    header, body_start = read_header(lines)
    title = header.titles[0] if header.titles else ""
    which = f'{source.file}, tune "{title}"' if title else f"{source.file}, tune {_number(piece)}"
    key = header.key
    if key is None:
        raise PipelineError(f"{which} has no K: line, which must end the header.")
    warnings: list[str] = [key.fault] if key.fault else []
    meter = parse_meter(header.values.get("M", "4/4"))
    measured = meter is not None and "M" in header.values
    if meter is None:
        warnings.append(f'The metre "{short(header.values["M"])}" is treated as 4/4.')
        meter = "4/4"
    unit = default_length(meter)
    if "L" in header.values:
        if not parse_length(header.values["L"], Fraction(0)):
            header.remarks.append(f'"L:{header.values["L"]}" is no note length; {unit} is taken.')
        unit = parse_length(header.values["L"], unit)
    reader = MusicReader(key, meter, unit)
    for value in header.signs:
        reader.field("U", value)
    read_body(lines[body_start:], reader, warnings, header.remarks)
    bars = reader.bars()
    stated = Stated(
        title=title,
        meter=meter,
        kind="\n".join((header.values.get("R", ""), *header.titles)),
        key=KeyName(key.tonic, key.mode) if key.states_key else None,
        signature=key.signature,
        whole_notes_a_minute=parse_tempo(header.values.get("Q", ""), unit),
        order=header.values.get("P", ""),
        pins=_pins(lines, header.remarks),
        warnings=(*warnings, *reader.warnings),
        remarks=(
            *header.remarks,
            *stray_words(bars, reader.strays),
            *(odd_bar_words(bars, reader.places(), meter, known_odd) if measured else ()),
        ),
    )
    return written_tune(bars, stated, source, which=which)


def _pins(lines: list[tuple[int, str]], remarks: list[str]) -> tuple[str, ...]:
    """The pins of "%%pin" lines; one that cannot be read is said in the remarks."""
    pins = []
    for number, line in lines:
        if line.startswith("%%pin "):
            text = line.removeprefix("%%pin ").strip()
            try:
                parse_pin(text)
                pins.append(text)
            except UsageError as fault:
                remarks.append(f"Line {number} is left out: {fault}")
    return tuple(pins)


def read_header(lines: list[tuple[int, str]]) -> tuple[AbcHeader, int]:
    """The header's fields and the number of the first line after K:."""
    header = AbcHeader()
    for index, (number, line) in enumerate(lines):
        found = _FIELD.match(line)
        if not found:
            if index and line.strip() and not line.startswith(("%", "+:", "\\")):
                header.remarks.append(f"Line {number} stands before K: and is no field; {LEFT}.")
            continue
        if found.group(1) not in _FIELDS:
            header.remarks.append(unknown_field(number, found.group(1)))
        letter, value = found.group(1), _uncommented(found.group(2)).strip()
        if letter == "T":
            header.titles.append(plain_text(value))
        elif letter == "K":
            header.key = parse_key_field(value)
            return header, index + 1
        elif letter == "U":
            header.signs.append(value)
        elif value:
            header.values.setdefault(letter, value)
    return header, len(lines)


def read_body(
    lines: list[tuple[int, str]], reader: MusicReader, warnings: list[str], remarks: list[str]
) -> None:
    """Feed the lines after K: to the reader."""
    ended = False
    for number, raw in lines:
        if not raw.strip():
            ended = True
            continue
        if raw.startswith("%"):
            continue
        line = _uncommented(raw)
        found = _FIELD.match(line)
        if ended:
            # By the standard an empty line ends the tune; a hand-edited tune that goes on is read.
            if found or "|" not in line or len(_NOT_MUSIC.findall(line)) > 2:
                continue
            warnings.append("Music after an empty line is read as part of the tune.")
            ended = False
        if found:
            if found.group(1) not in _FIELDS:
                remarks.append(unknown_field(number, found.group(1)))
            elif found.group(1) not in "wWsN":
                reader.field(found.group(1), found.group(2).strip())
        else:
            reader.line(line, number)


def _uncommented(line: str) -> str:
    """The line up to its comment: a % that is not inside quotes and not after a backslash."""
    if "%" not in line:
        return line
    quoted = False
    last_quote = line.rfind('"')
    skip = False
    for place, sign in enumerate(line):
        if skip:
            skip = False
        elif sign == '"':
            quoted = not quoted and place < last_quote
        elif not quoted and sign == "\\":
            skip = True
        elif not quoted and sign == "%":
            return line[:place]
    return line
