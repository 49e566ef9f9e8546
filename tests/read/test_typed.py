"""Tablature as people type it: examples written by hand, read right or refused with their place.

No standard exists for such notation: what is expected here is common practice. Notes are
string.fret@start, the start in sixteenths of a whole note, bars parted by "|".
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from liltwright.errors import PipelineError
from liltwright.guitar.tunings import parse_tuning
from liltwright.read.files import decoded, kind_of
from liltwright.read.tablature import read_tablature
from liltwright.read.typed_tab import Repeat, TypedTab, read_typed_tab

FOLDER = Path(__file__).parent / "typed"
RUN = "1.0@0 1.2@2 1.3@4 1.5@6 1.7@8 1.5@10 1.3@12 1.2@14"
BASSED = "1.0@0 6.0@0 1.2@2 1.3@4 1.5@6 1.7@8 6.0@8 1.5@10 1.3@12 1.2@14"
JIG = "1.0@0 5.0@0 1.2@2 1.3@4 1.5@6 5.0@6 1.3@8 1.2@10"
JIG_END = "1.0@0 5.0@0 1.0@6"
PLAIN = "1.0@0 6.0@0 1.2@4 1.{}@8 1.{}@12"
READ: dict[str, dict[str, Any]] = {
    "01-letters": {
        "title": "The Empty Creel", "meter": "4/4", "rhythm_known": True,
        "notes": "1.0@0 6.0@0 1.2@4 1.3@6 1.2@8 6.0@8 1.0@12 | 2.3@0 6.3@0 1.0@8",
    },
    "02-bare": {"meter": None, "rhythm_known": False, "notes": BASSED + " | 1.0@0 6.0@0 1.0@8"},
    "03-dadgad": {
        "title": "Walking to the Weir", "tuning": "DADGAD", "capo": 2, "meter": "4/4",
        "rhythm_known": False,
        "notes": "1.0@0 6.0@0 1.2@2 1.4@4 1.5@6 1.4@8 6.0@8 1.2@10 1.0@12 2.3@14",
    },
    "04-drop-d": {
        "tuning": "drop D", "capo": 0, "meter": "3/4", "notes": "1.2@0 4.0@0 6.0@0 1.3@4 1.2@8",
    },
    "05-vertical-letters": {"tuning": "open G", "notes": "1.0@0 5.0@0 1.2@4 1.5@8 5.0@8 1.2@12"},
    "06-jig-by-title": {
        "title": "Jig: The Spilt Tea", "meter": "6/8", "tuning": "standard",
        "notes": f"{JIG} | {JIG_END}",
    },
    "07-repeats": {"meter": "6/8", "notes": f"{JIG} | {JIG_END}", "repeats": (Repeat(0, 1, 2),)},
    "08-endings": {
        "meter": "2/4", "repeats": (Repeat(0, 2, 2),), "endings": [(), (), (1,), (2,)],
        "notes": "1.0@0 6.0@0 1.2@2 1.3@4 1.5@6 | 1.7@0 6.0@0 1.5@2 1.3@4 1.2@6 "
        "| 1.0@0 6.0@0 1.2@4 | 1.0@0 6.0@0",
    },
    "09-slurs": {
        "notes": "1.0@0 6.0@0 1.2@2 1.3@4 1.2@6 1.5@8 1.7@10 1.7@12 1.5@14",
        "marks": ["", "", "h", "", "p", "", "/", "", "\\"],
    },
    "10-bends-and-mutes": {
        "rhythm_known": True, "notes": "2.7@0 1.7@4 2.8@8 2.0@12",
        "marks": ["b9", "~", "b10 r8", "x"],
    },
    "11-two-digits": {
        "notes": "1.12@0 2.0@0 6.0@0 1.10@4 2.10@4 1.9@8 2.8@8 1.7@12 2.8@12",
    },
    "12-quoted": {"title": "The Borrowed Ladder", "meter": "4/4", "notes": BASSED},
    "13-crlf-and-tabs": {"title": "Hornpipe: The Tin Boat", "meter": "4/4", "notes": BASSED},
    "14-word-processor": {"meter": "4/4", "notes": BASSED},
    "15-double-spaced": {"meter": "3/4", "notes": "1.0@0 6.0@0 1.2@4 1.3@8"},
    "16-wrapped": {
        "title": "Reel: Wrapped in Newspaper",
        "notes": f"{BASSED} | {BASSED} | 1.0@0 6.0@0 1.0@8",
    },
    "17-counts-below": {
        "rhythm_known": True, "notes": "1.0@0 6.0@0 2.3@4 1.3@8 1.2@12 | 6.3@0 1.0@8",
    },
    "18-counts-above": {
        "rhythm_known": True, "meter": "6/8", "notes": "1.0@0 5.0@0 1.2@2 1.3@4 1.5@6 5.0@6 1.2@10",
    },
    "19-words-between": {
        "title": "The Baker's Ladder", "meter": None,
        "notes": f"{RUN} | 2.0@0 2.1@2 2.3@4 2.1@6 2.0@8 2.0@12",
    },
    "20-capital-letters": {"rhythm_known": True, "notes": "1.0@0 6.0@0 1.2@4 1.3@6 1.5@8"},
    "21-dots-and-triplets": {
        "rhythm_known": True, "notes": "1.0@0 1.2@6 1.3@8 1.5@28/3 1.7@32/3 1.5@12",
        "lengths": "6 2 4/3 4/3 4/3 4",
    },
    "22-chords-above": {
        "rhythm_known": False,
        "notes": "1.0@0 6.0@0 1.2@2 1.3@4 1.5@6 1.7@8 5.2@8 1.5@10 1.3@12 1.2@14",
    },
    "23-times": {
        "repeats": (Repeat(0, 1, 3),), "notes": "1.0@0 1.2@2 1.3@4 1.5@6 | 1.3@0 1.0@4",
    },
    "24-capo-in-words": {"tuning": "DADGAD", "capo": 5, "notes": PLAIN.format(4, 5)},
    "25-letters-low-to-high": {"tuning": "open D", "notes": PLAIN.format(4, 5)},
    "26-letters-high-to-low": {"tuning": "open C", "capo": 0, "notes": PLAIN.format(3, 5)},
    "27-pick-up": {
        "meter": "2/4", "bar_lengths": "4 8 8 8",
        "notes": "1.2@0 1.3@2 | 1.5@0 6.0@0 1.3@2 1.2@4 1.0@6 | 1.2@0 6.0@0 1.3@4 | 1.0@0 6.0@0",
    },
    "28-no-bar-lines": {
        "rhythm_known": False,
        "notes": f"{BASSED.replace(' 6.0@8', '')} 1.0@16 6.0@16 1.2@18 1.3@20 1.5@22",
    },
    "29-underscores": {"meter": "4/4", "notes": BASSED},
    "31-ringing": {
        "notes": "1.0@0 5.0@0 1.2@2 1.3@4 1.5@6 1.7@8 6.0@8 1.5@10 1.3@12 1.2@14",
        "lengths": "2 8 2 2 2 2 8 2 2 2",
    },
    "32-harmonics-and-brackets": {
        "notes": "1.12@0 2.12@0 1.3@4 1.5@8", "marks": ["<", "<", "(", ""],
    },
    "47-rule-above": {
        "title": "The Crooked Gatepost", "notes": "1.0@0 6.0@0 1.2@4 1.3@8 1.2@12",
    },
    "49-string-numbers": {"meter": "2/4", "notes": "1.0@0 1.2@2 1.3@4 1.5@6"},
    "50-spaces-and-colons": {"notes": "1.0@0 1.2@2 1.3@4 1.5@6 | 1.2@0 1.0@4"},
    "51-bend-in-brackets": {
        "tuning": "open D minor", "notes": "1.7@0 1.5@6", "marks": ["b9 r7", ""],
    },
    "52-rule-between": {"notes": f"{RUN} | {RUN}"},
    "53-wide-letters": {"tuning": "EADGBF#", "notes": "1.0@0 1.2@2 1.3@4 1.5@6"},
}  # fmt: skip
REFUSED = {
    "33-unequal": ("line 5, column 11", "1 sign shorter"),
    "34-fret-too-high": ("line 1, column 8", "35 is above the limit of fret 24"),
    "35-no-sign": ("line 3, column 8", '"k" is no fret'),
    "36-five-strings": ("line 3, column 1", "has 5 strings"),
    "37-seven-strings": ("line 1, column 1", "has 7 strings"),
    "38-unknown-tuning": ("line 1, column 9", '"Wobbly Gate" is no tuning'),
    "39-no-system": ("line 1, column 1", "no system was found"),
    "40-bar-line-out-of-place": ("line 4, column 12", "string 4 has no bar line"),
    "41-upside-down": ("line 1, column 1", "from the lowest string to the highest"),
    "42-capo-too-high": ("line 1, column 6", "above the limit of 12"),
    "43-no-metre": ("line 1, column 7", 'metre "7/9"'),
    "44-times-without-end": ("line 1, column 15", "repeated 99 times"),
    "45-no-fret": ("line 1, column 1", "no fret"),
    "46-letters-of-no-guitar": ("line 1, column 1", "spell no tuning"),
    "48-digits-run-together": ("line 3, column 6", "1012 is above the limit"),
}


def text_of(name: str) -> str:
    return decoded((FOLDER / f"{name}.txt").read_bytes(), name)


def shown(tab: TypedTab) -> str:
    return " | ".join(
        " ".join(f"{note.string}.{note.fret}@{note.start * 16}" for note in bar.notes)
        for bar in tab.bars
    )


@pytest.mark.parametrize("name", READ)
def test_an_example_is_read(name: str):
    want = dict(READ[name])
    tab = read_typed_tab(text_of(name), name=name)
    notes = [note for bar in tab.bars for note in bar.notes]
    assert shown(tab) == want.pop("notes")
    if "tuning" in want:
        assert tab.strings_midi == parse_tuning(want.pop("tuning"))[1]
    if "marks" in want:
        assert [" ".join(note.marks) for note in notes] == want.pop("marks")
    if "lengths" in want:
        assert " ".join(str(note.length * 16) for note in notes) == want.pop("lengths")
    if "bar_lengths" in want:
        assert " ".join(str(bar.length * 16) for bar in tab.bars) == want.pop("bar_lengths")
    if "endings" in want:
        assert [bar.ending for bar in tab.bars] == want.pop("endings")
    for field, value in want.items():
        assert getattr(tab, field) == value, field
    assert tab.rhythm_known != any("proposal" in remark for remark in tab.remarks)


@pytest.mark.parametrize("name", REFUSED)
def test_an_example_is_refused_with_its_place(name: str):
    place, fault = REFUSED[name]
    with pytest.raises(PipelineError) as raised:
        read_typed_tab(text_of(name), name=name)
    said = str(raised.value)
    assert said.startswith(f"{name}, {place}")
    assert fault in said
    assert said.count(". ") == 0
    assert said.endswith(".")


def test_our_own_page_is_read_by_its_own_reader():
    text = text_of("30-our-own")
    own = read_tablature(text, name="a.txt")
    tab = read_typed_tab(text, name="a.txt")
    assert tab.rhythm_known
    assert tab.repeats == (Repeat(0, 8, 2), Repeat(9, 17, 2))
    assert [[(n.string, n.fret, n.length) for n in bar.notes] for bar in tab.bars] == [
        [(n.string, n.fret, n.length) for n in bar] for bar in own.bars
    ]
    assert min(note.start for bar in tab.bars for note in bar.notes) == 0
    assert all(n.start + Fraction(1, 128) <= bar.length for bar in tab.bars for n in bar.notes)


def test_our_own_page_quoted_in_an_answer_gives_the_same_bars():
    text = text_of("30-our-own")
    quoted = "\n".join(f"> {line}" for line in text.splitlines())
    own, typed = (read_typed_tab(one, name="a.txt") for one in (text, quoted))
    assert kind_of(quoted.encode(), "a.txt") == "typed"
    assert (typed.strings_midi, typed.capo, typed.meter) == (own.strings_midi, 2, own.meter)
    assert typed.repeats == own.repeats
    for one, other in zip(typed.bars, own.bars, strict=True):
        assert (one.length, one.ending) == (other.length, other.ending)
        assert {(n.string, n.fret, n.start, n.length) for n in one.notes} == {
            (n.string, n.fret, n.start, n.length) for n in other.notes
        }


def test_every_example_is_used_and_recognised_by_what_it_holds():
    names = {path.stem for path in FOLDER.glob("*.txt")}
    assert names == {*READ, *REFUSED, "30-our-own"}
    assert len(names) >= 40
    for name in names - {"30-our-own", "39-no-system"}:
        assert kind_of((FOLDER / f"{name}.txt").read_bytes(), name) == "typed", name
    assert kind_of((FOLDER / "30-our-own.txt").read_bytes(), "a") == "tablature"
