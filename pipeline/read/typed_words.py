"""Tablature typed by hand: what the words around it say.

Task     find title, tuning, capo and metre in the lines that are no strings
In       Lines; which of them stand before the first system
Out      TypedWords
Method   what is named outright ("Tuning:", "Time:") goes before what is only mentioned; a tuning
         that is named but not known is refused, because every note would be wrong. Lines of a
         legend ("h = hammer-on") say nothing about the tune.
References: none; such notation has no standard (common practice).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import get_args

from liltwright.dances import dances
from liltwright.errors import UsageError
from liltwright.guitar.tunings import Strings, catalogue, parse_tuning
from liltwright.limits import clean, limit, short
from liltwright.read.checked import check_meter
from liltwright.read.kinds import type_named
from liltwright.read.typed_lines import TextLine, refusal
from liltwright.tab import LayerName
from liltwright.tune import TuneType
from liltwright.unpick.finished import NOTHING, Known

_TUNING = re.compile(r"\b(?:re)?tun(?:ing|ed|e to)\b", re.IGNORECASE)
_OUTRIGHT = re.compile(r"\s*(?:guitar )?tuning\s*[:=]\s*(?=\S)|\s*tuned to\s+(?=\S)", re.IGNORECASE)
_SIX = re.compile(r"(?<![A-Za-z#])(?:[A-G][#b]?[0-9]?[ ,-]{0,2}){5}[A-Ga-g][#b]?[0-9]?(?![A-Za-z])")
_MINOR = re.compile(r"\b(open [A-G])m(?:in)?\b", re.IGNORECASE)
_HIGH_FIRST = re.compile(r"high(?:est)? (?:string )?(?:to|first)", re.IGNORECASE)
_CAPO = re.compile(
    r"\bcapo(?:ed)?\b[\s:=#]*(?:(?:is|on|at|in|the|fret|up|no\.?)[\s:=#]+){0,4}(\w+)", re.IGNORECASE
)
_NO_CAPO = re.compile(r"\b(?:no|without|ohne) (?:a )?capo\b", re.IGNORECASE)
_TIME = re.compile(
    r"\b(?:time(?: signature)?|met(?:er|re))\b\s*(?:[:=]\s*)?(\d{1,9}\s*/\s*\d{1,9})", re.IGNORECASE
)
_BARE_TIME = re.compile(r"(?<![\d/.])(\d{1,2}/(?:2|4|8|16))(?![\d/])")
_NAMED_TIME = ((re.compile(r"\bcommon time\b", re.I), "4/4"), (re.compile(r"\bcut time\b", re.I),
               "2/2"))  # fmt: skip
_LEGEND = re.compile(
    r"^\s*\S{1,2}\s*[=:-]\s|\b(?:hammer|pull|slide up|slide down|bend|vibrato|harmonic|mute)",
    re.IGNORECASE,
)
_TITLE = re.compile(
    r"\s*(?:title|subject|song|tune|name)\s*:\s*(?:re:\s*|fwd?:\s*)*", re.IGNORECASE
)
_NO_TITLE = re.compile(
    r"\s*(?:(?:from|to|cc|date|sent|key|time|met(?:er|re)|tempo|by|arr|rhythm|type|composer|author)"
    r"\s*[:=]|(?:tuning|capo|tab(?:bed)?|transcribed|hi|hello|hey|here|thanks|standard"
    r"|(?:double )?drop(?:ped)? [a-g]|open [a-g])\b)",
    re.IGNORECASE,
)
_ROWS = (
    (0, "zero first second third fourth fifth sixth seventh eighth ninth tenth"),
    (0, "none one two three four five six seven eight nine ten"),
    (1, "i ii iii iv v vi vii viii ix x xi xii"),
)
_NUMBERS = {word: n for first, row in _ROWS for n, word in enumerate(row.split(), first)}
_UPSIDE_DOWN = (
    "the string letters run from the lowest string to the highest; "
    "turn the system over, the highest string on top"
)
_LONGEST_TITLE = 70  # signs; a longer line is a remark
_WORDS_OF_A_KIND = 2  # of the name of a tune type
_BRACKET = re.compile(r"\s*[(\[]([^()\[\]]*)[)\]]$")
_LAYER_AFTER = re.compile(rf"(?<=\S): (?:{'|'.join(get_args(LayerName))}|performance)$")
_TIME_AFTER = re.compile(r"(?<=\S)[\s,-]+\d{1,2}/\d{1,2}$")


@dataclass(frozen=True, slots=True)
class TypedWords:
    """What the text says in words; None or "" where it says nothing."""

    title: str
    strings_midi: Strings | None
    capo: int
    meter: str | None
    kind: str = ""
    """The line that names the type of the tune."""


def words_of(lines: Sequence[TextLine], head: int, name: str, known: Known = NOTHING) -> TypedWords:
    """Read the words; lines up to `head` stand before the first system.

    What is known goes before them: a faulty tuning in words does no harm when it is known. A known
    type of tune has its own metre where the words name another one.
    Raises PipelineError for a tuning, capo or metre that cannot be.
    """
    said = [line for line in lines if not line.is_string and line.text.strip()]
    before = [line for line in lines[:head] if not line.is_string and line.text.strip()]
    return TypedWords(
        _title(before),
        known.strings or _tuning(said, name),
        _capo(said, name) if known.capo is None else known.capo,
        known.meter or _meter_for(known.kind, lambda: _meter(said, before, name)),
        _kind(before),
    )


def _meter_for(kind: TuneType | None, named: Callable[[], str | None]) -> str | None:
    """The named metre, where it fits the type that is known."""
    meter = named()
    if kind is None or meter in dances()[kind].meters:
        return meter
    return dances()[kind].meters[0]


def check_order(labels: Sequence[str], place: tuple[int, int], name: str) -> None:
    """Raise PipelineError when the letters show that the lowest string is on top."""
    letters = "".join(label[0].upper() + label[1:] for label in labels)
    right = _classes(letters) != tuple(reversed(_classes(letters)))
    if all(labels) and right and _classes(letters) in _known_letters():
        raise refusal(name, place, _UPSIDE_DOWN)


def strings_of_labels(labels: Sequence[str], place: tuple[int, int], name: str) -> Strings:
    """The tuning that the letters before the strings spell, from the highest string down.

    Raises PipelineError when they spell none.
    """
    letters = "".join(label[0].upper() + label[1:] for label in reversed(labels))
    turned = "".join(label[0].upper() + label[1:] for label in labels)
    usual = catalogue()[0].strings_midi
    try:
        strings = parse_tuning(letters)[1]
        if all(abs(one - other) <= 7 for one, other in zip(strings, usual, strict=True)):
            return strings
    except UsageError:
        pass
    if _classes(turned) in _known_letters():
        raise refusal(name, place, _UPSIDE_DOWN)
    raise refusal(
        name,
        place,
        f'the string letters "{" ".join(labels)}" spell no tuning of a guitar from the highest '
        "string down; correct them, such as e B G D A E",
    )


@cache
def _known_letters() -> frozenset[tuple[int, ...]]:
    return frozenset(_plain_letters(tuning.strings_midi) for tuning in catalogue())


def _plain_letters(strings: Sequence[int]) -> tuple[int, ...]:
    return tuple(midi % 12 for midi in strings)


def _classes(letters: str) -> tuple[int, ...]:
    steps = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    found = re.findall(r"([A-G])([#b]?)", letters)
    return tuple((steps[one] + (sign == "#") - (sign == "b")) % 12 for one, sign in found)


@cache
def _names() -> tuple[tuple[re.Pattern[str], Strings], ...]:
    rows = sorted(catalogue(), key=lambda tuning: -len(tuning.name))
    return tuple(
        (
            re.compile(
                r"(?<![A-Za-z])"
                + re.escape(row.name).replace(r"\ ", r"[ -]").replace("drop", "drop(?:ped)?")
                + r"(?![A-Za-z#])",
                re.IGNORECASE,
            ),
            row.strings_midi,
        )
        for row in rows
    )


def _tuning(said: Sequence[TextLine], name: str) -> Strings | None:
    for line in said:
        outright = _OUTRIGHT.match(line.text)
        if not (outright or _TUNING.search(line.text)):
            continue
        found = _tuning_in(line.text)
        if found:
            return found
        if outright:
            raise refusal(
                name,
                line.places[outright.end()],
                f'"{short(line.text[outright.end() :])}" is no tuning that is known; write six '
                "notes from low to high, such as DADGAD, or a name such as open G",
            )
    for line in said:
        if len(line.text) <= _LONGEST_TITLE and not _LEGEND.search(line.text):
            found = _tuning_in(line.text, mentioned=True)
            if found:
                return found
    return None


def _tuning_in(text: str, *, mentioned: bool = False) -> Strings | None:
    run = None if mentioned else _SIX.search(text)
    if run:
        letters = re.findall(r"[A-Ga-g][#b]?[0-9]?", run.group())
        if _HIGH_FIRST.search(text):
            letters.reverse()
        try:
            return parse_tuning(" ".join(one[0].upper() + one[1:] for one in letters))[1]
        except UsageError:
            return None
    text = _MINOR.sub(r"\1 minor", text)
    for pattern, strings in _names():
        found = pattern.search(text)
        if found and not (mentioned and found.group().lower() in ("standard", "a tone down")):
            return strings
    return None


def _capo(said: Sequence[TextLine], name: str) -> int:
    for line in said:
        if _NO_CAPO.search(line.text):
            return 0
        found = _CAPO.search(line.text)
        if not found:
            continue
        word = found.group(1).lower()
        digits = re.fullmatch(r"(\d+)(?:st|nd|rd|th)?", word)
        capo = int(digits.group(1)[:4]) if digits else _NUMBERS.get(word)
        if capo is None:
            continue
        if capo > limit("typed_capo"):
            raise refusal(
                name,
                line.places[found.start(1)],
                f"the capo at fret {capo} is above the limit of {limit('typed_capo')}; correct it",
            )
        return capo
    return 0


def _meter(said: Sequence[TextLine], before: Sequence[TextLine], name: str) -> str | None:
    for line in said:
        found = _TIME.search(line.text)
        if found:
            meter = re.sub(r"\s", "", found.group(1))
            row, column = line.places[found.start(1)]
            check_meter(meter, f"{name}, line {row}, column {column},")
            return meter
    for line in before:
        for pattern, meter in _NAMED_TIME:
            if pattern.search(line.text):
                return meter
        bare = _BARE_TIME.search(line.text)
        if bare and int(bare.group(1).partition("/")[0]):
            return bare.group(1)
    kind = type_named(_kind(before))
    return dances()[kind].meters[0] if kind else None


def _title(before: Sequence[TextLine]) -> str:
    for line in before:
        named = _TITLE.match(line.text)
        if named and line.text[named.end() :].strip():
            return clean(" ".join(_without_kind(line.text[named.end() :].strip()).split()))
    for line in before:
        text = line.text.strip(" *=-#~")
        if (
            2 < len(text) <= _LONGEST_TITLE
            and re.search(r"[^\W\d_]{3}", text)
            and text[-1] not in ".,:;?!"
            and not _NO_TITLE.match(text)
            and not _LEGEND.search(line.text)
        ):
            return clean(" ".join(_without_kind(text).split()))
    return ""


def _without_kind(title: str) -> str:
    """The title without "(jig, 6/8)", "(reel)" or ", 6/8" after it, or a layer of this program."""
    title = _LAYER_AFTER.sub("", title)
    bracket = _BRACKET.search(title)
    if bracket and (_BARE_TIME.search(bracket[1]) or _is_only_kind(bracket[1])):
        title = title[: bracket.start()]
    return _TIME_AFTER.sub("", title) or title


def _is_only_kind(words: str) -> bool:
    return type_named(words) is not None and len(words.split()) <= _WORDS_OF_A_KIND


def _kind(before: Sequence[TextLine]) -> str:
    """The line that names the type of the tune."""
    named = (one.text for one in before if not _LEGEND.search(one.text) and type_named(one.text))
    return clean(next(named, "").strip())
