"""The signs of ABC's music code: how each is found, and what it stands for.

Task     the tables that abc_music.py reads by
References  ABC notation standard 2.1, section 4 (the tune body).
"""

from __future__ import annotations

import re

from liltwright.keys import LETTER_SEMITONES
from liltwright.tune import Ornament

_LENGTH = r"([0-9]*)(/*)([0-9]*)"
_NOTE = r"(\^\^|\^|__|_|=)?([A-Ga-g])([,']*)" + _LENGTH
TOKEN = re.compile(
    rf"""
    (?P<note>{_NOTE})
  | (?P<field>\[([A-Za-z]):([^\]]*)\])
  | (?P<bar>(\.?(?:\[(?=\|)|[|:\]])+)(\d[\d,\-]*)?)
  | (?P<ending>\[\s*(\d[\d,\-.\s]*))
  | (?P<chord>(?:\[([^\]\[|]*)\]|\+([A-Ga-g\d/,'^_=]{{2,}})\+){_LENGTH})
  | (?P<rest>([zxXZ]){_LENGTH})
  | (?P<text>"[^"]*"?)
  | (?P<grace>\{{([^}}]*)\}}?)
  | (?P<broken><+|>+)
  | (?P<tuplet>\((\d)(?::(\d*))?(?::(\d*))?)
  | (?P<tie>-)
  | (?P<sign>![^!|\s]{{1,24}}!|\+[^+|\s]{{1,24}}\+|[~H-Wh-w.])
  | (?P<overlay>&)
    """,
    re.VERBOSE | re.ASCII,
)
SILENT = re.compile(r"y[0-9]*|[()\\`$*!\"\[\]+]")
"""What may stand in a line and says nothing of pitch or length."""
INNER_NOTE = re.compile(_NOTE)
NOT_NOTES = re.compile(r'"[^"]*"|![^!]*!')
CHORD_SYMBOL = re.compile(
    r"\(?[A-G][#b]?(?:maj|min|m|M|dim|aug|sus|add|[-+o]|[#b]?[0-9]{1,2}|\([^()]*\))*+(?:/[A-G][#b]?)?\)?"
)
LONGEST_SYMBOL = 24  # signs of a chord symbol; longer text is a remark
PIN = re.compile(r"[@^_<>]\s*pin\s+(bar\s+)?")
BASE_MIDI = {letter: 60 + step for letter, step in LETTER_SEMITONES.items()}
BASE_MIDI |= {letter.lower(): midi + 12 for letter, midi in BASE_MIDI.items()}
ACCIDENTALS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}  # semitones (ABC standard 2.1)
SIGNS: dict[str, Ornament] = {
    "~": "roll", "J": "slide", "T": "grace", "M": "tap", "P": "cut",
    "roll": "roll", "slide": "slide", "trill": "grace", "turn": "roll", "turnx": "roll",
    "invertedturn": "roll", "invertedturnx": "roll", "trill(": "grace",
    "mordent": "tap", "lowermordent": "tap", "pralltriller": "cut", "uppermordent": "cut",
}  # fmt: skip
PLAIN_TUPLETS = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}
"""In the time of how many (ABC standard 2.1, section 4.13)."""
