"""Files by the thousand: by each format's grammar with odd values in it, and with damaged bytes.

Task     make the bytes of one case of a format from a source of choices
In       Choices (a seeded random generator, or hypothesis' draw behind the same three functions)
Out      file name and bytes
Method   seven of ten cases are built by the grammar, values drawn from good ones and, seldom
         enough that two of five cases are read to their end, from those that have broken readers
         before; the others are files with bytes changed, taken out, doubled or cut off.
"""

from __future__ import annotations

import copy
import io
import json
import random
import struct
import zipfile
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Protocol

from liltwright.records import to_json
from liltwright.write.formats.abc import tune_to_abc
from liltwright.write.formats.midi import tune_to_midi
from liltwright.write.formats.musicxml import tune_to_musicxml
from liltwright.write.formats.tablature import layer_to_text
from tests.hardness.examples import played
from tests.write.hand_made import arrangement, jig

ODD = ("0", "-1", "7", "999999999", "9" * 400, "1e99999999", "inf", "NaN", "", "0.000001", "1/0",
       "1/3", "64", "128", "\u0663", "\x1b", "&", "2.5", "-0", "1_0")  # fmt: skip
_DEMO = Path(__file__).parents[2] / "fixtures" / "demo" / "hum.ogg"


class Choices(Protocol):
    """Where choices come from."""

    def whole(self, low: int, high: int) -> int: ...
    def one(self, of: Sequence[Any]) -> Any: ...
    def raw(self, most: int) -> bytes: ...


class Seeded:
    """Choices of a seeded generator."""

    def __init__(self, seed: str) -> None:
        self._random = random.Random(seed)

    def whole(self, low: int, high: int) -> int:
        return self._random.randint(low, high)

    def one(self, of: Sequence[Any]) -> Any:
        return self._random.choice(of)

    def raw(self, most: int) -> bytes:
        return self._random.randbytes(self._random.randint(0, most))


def _value(choices: Choices, good: Sequence[Any], one_in: int = 12) -> str:
    return choices.one(ODD) if not choices.whole(0, one_in) else str(choices.one(good))


def _abc(choices: Choices) -> bytes:
    def v(*good: object) -> str:
        return _value(choices, good)

    lines = [f"X:{v(1, 2)}", f"T:{v('A', 'Sl&aacute;n', chr(92) + 'c')}"]
    lines += [f"M:{v(4, 6, 9)}/{v(4, 8)}", f"L:1/{v(8, 16)}", f"Q:1/{v(4, 8)}={v(120, 90)}"]
    lines += [f"P:{v('AB', 'A2B', '(AB)3')}", f"K:{v('D', 'Em', 'Ador', 'G ^c', 'C octave=1')}"]
    signs = ("|", "||", "|:", ":|", "::", "|1 ", ":|2 ", "[1", "[", "]", "(3", "(5:4:6", "~", "-",
             ">", "<", '"Am"', '"^x', "{g}", "{", "!roll!", "[DF]", "[]", "z", "Z4", "[K:G]",
             "[M:3/4]", "[L:1/4]", "[V:2]", "&", "\\", "%", "\n", "P:A\n", "+", "y")  # fmt: skip
    body = []
    for _ in range(choices.whole(0, 60)):
        if choices.whole(0, 2):
            body.append(choices.one("ABCDEFGabcdefg") + choices.one(("", "", "'", ","))
                        + choices.one(("", "2", "/", "/2", "3/2", v(2, 4))))  # fmt: skip
        else:
            body.append(choices.one(signs))
    return "\n".join([*lines, "".join(body), ""]).encode()


def _xml(choices: Choices) -> bytes:
    def v(*good: object) -> str:
        return _value(choices, good, 500).replace("&", "&amp;").replace("\x1b", "")

    def note() -> str:
        extra = choices.one(("", "", "", "<chord/>", "<grace/>", "<tie type='start'/>", "<dot/>"))
        return (f"<note>{extra}<pitch><step>{v(*'CDEFGAB')}</step><alter>{v(0, 1)}</alter>"
                f"<octave>{v(4, 5)}</octave></pitch><duration>{v(1, 2, 4)}</duration>"
                f"<voice>{v(1, 1, 2)}</voice></note>")  # fmt: skip

    others: tuple[Callable[[], str], ...] = (
        lambda: f"<sound tempo='{v(120)}'/>",
        lambda: f"<backup><duration>{v(1, 1, 2)}</duration></backup>",
        lambda: f"<forward><duration>{v(1, 4)}</duration></forward>",
        lambda: f"<harmony><root><root-step>{v('D')}</root-step><root-alter>{v(0, 1)}</root-alter>"
        f"</root><kind>major</kind><offset>{v(0, 1)}</offset></harmony>",
        lambda: f"<barline><repeat direction='backward' times='{v(2, 3)}'/></barline>",
        lambda: "<barline location='left'><repeat direction='forward'/></barline>",
        lambda: f"<barline><ending number='{v(1, 2)}' type='start'/></barline>",
        lambda: f"<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>"
        f"{v(120)}</per-minute></metronome></direction-type></direction>",
        lambda: f"<attributes><divisions>{v(1, 2, 4)}</divisions><key><fifths>{v(0, 2, -3)}"
        f"</fifths><mode>{v('major', 'dorian')}</mode></key><time><beats>{v(4, 6)}</beats>"
        f"<beat-type>{v(4, 8)}</beat-type></time><transpose><chromatic>{v(0, -2)}</chromatic>"
        f"</transpose></attributes>",
    )  # fmt: skip
    bars = ""
    for _ in range(choices.whole(1, 6)):
        inside = ""
        for _ in range(choices.whole(0, 8)):
            inside += note() if choices.whole(0, 2) else choices.one(others)()
        bars += f"<measure>{inside}</measure>"
    return (f"<score-partwise><work><work-title>{v('A')}</work-title></work><part id='P1'>{bars}"
            "</part></score-partwise>").encode()  # fmt: skip


def _mxl(choices: Choices) -> bytes:
    out = io.BytesIO()
    method = choices.one((zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED))
    method = method if choices.whole(0, 20) else zipfile.ZIP_BZIP2
    score = _xml(choices)
    score = score if choices.whole(0, 8) else damaged(score, choices)
    with zipfile.ZipFile(out, "w", method) as archive:
        name = choices.one(("score.xml", "a.musicxml", "b/score.xml", "\u00e9.xml"))
        name = name if choices.whole(0, 12) else choices.one(("score", "META-INF/x.xml"))
        if choices.whole(0, 1):
            path = name if choices.whole(0, 12) else choices.one(("", "../x", "\u00e8.xml"))
            archive.writestr(
                "META-INF/container.xml", f"<container><rootfile full-path='{path}'/></container>"
            )
        archive.writestr(name, score)
    return out.getvalue()


_GOOD_META = {
    0x51: (b"\x07\xa1\x20", b"\x05\x16\x15"),
    0x58: (b"\x06\x03\x24\x08", b"\x04\x02\x18\x08", b"\x09\x03\x24\x08"),
    0x59: (b"\x02\x00", b"\xff\x01", b"\x00\x00"),
    0x54: (b"\x60\x00\x00\x00\x00",),
}


def _midi(choices: Choices) -> bytes:
    def delta() -> bytes:
        odd = b"\x31" if choices.whole(0, 150) else b"\xff\xff\xff\x7f"
        return choices.one((b"\x00", b"\x18", b"\x30", b"\x60", b"\x60", b"\x83\x00", odd))

    track = b""
    low = choices.whole(40, 66)
    for _ in range(choices.whole(0, 60)):
        pitch = bytes([choices.whole(low, low + 24)])
        if choices.whole(0, 7):
            track += delta() + b"\x90" + pitch + b"\x50" + delta() + b"\x80" + pitch + b"\x00"
        else:
            kind = choices.one((0x01, 0x03, 0x06, 0x51, 0x58, 0x59, 0x7F, 0x2F, 0x54, 0x20))
            fit = {0x51: 3, 0x54: 5, 0x58: 4, 0x59: 2, 0x2F: 0, 0x20: 1}
            good = _GOOD_META.get(kind)
            if good and choices.whole(0, 9):
                track += delta() + b"\xff" + bytes([kind, len(good[0])]) + choices.one(good)
                continue
            size = fit.get(kind, choices.whole(0, 9))
            size = size if choices.whole(0, 30) else choices.whole(0, 9)
            track += delta() + b"\xff" + bytes([kind, size])
            track += bytes(choices.whole(0, choices.one((3, 8, 127, 255))) for _ in range(size))
    odd = not choices.whole(0, 15)
    division = choices.one((1, 0, 0xE728, 32767) if odd else (96, 96, 480, 24))
    form = choices.one((0, 1) if choices.whole(0, 15) else (2, 9))
    head = b"MThd" + struct.pack(">IHHH", 6, form, 1, division)
    return head + b"MTrk" + struct.pack(">I", len(track)) + track


def _json(choices: Choices) -> bytes:
    record = json.loads(to_json(jig()))
    odd = (0, -1, 7, 10**9, 10**400, 1e308, float("inf"), float("nan"), "6/0", "1e99999999", "", [],
           {}, None, True, "0/8", "H", "A\ud800", "\x1b", [[]], 0.5, "1/3", 2**70)  # fmt: skip
    for _ in range(choices.whole(1, 3)):
        at: Any = record
        while True:
            key = choices.one(sorted(at) if isinstance(at, dict) else range(len(at)))
            if isinstance(at[key], dict | list) and at[key] and choices.whole(0, 9):
                at = at[key]
                continue
            odd_one = not choices.whole(0, 7)
            at[key] = copy.deepcopy(choices.one(odd)) if odd_one else _near(at[key], choices)
            break
    return json.dumps(record).encode()


def _near(value: Any, choices: Choices) -> Any:
    """Another value of the same kind."""
    if isinstance(value, bool) or value is None:
        return not value
    if isinstance(value, int):
        return value + choices.whole(-2, 2)
    if isinstance(value, float):
        return value * choices.one((0.5, 0.9, 1.1, 3.0))
    if isinstance(value, str) and value[:1].isdigit() and len(value) < 6:
        return choices.one((value, value, "1/8", "1/4", "3/8", "0", "1/16"))
    if isinstance(value, list):
        return value[: choices.whole(0, len(value))]
    return choices.one((value, value, "A")) if isinstance(value, str) else value


def _tablature(choices: Choices) -> bytes:
    lines = layer_to_text(jig(), arrangement(), "drone").splitlines()
    for _ in range(choices.whole(1, 4)):
        place = choices.whole(0, len(lines) - 1)
        words = lines[place].split(" ")
        words[choices.whole(0, len(words) - 1)] = choices.one((*ODD, "|", "e.", "[1,2.]", "x99"))
        lines[place] = " ".join(words)
    return "\n".join(lines).encode()


_TYPED = Path(__file__).parents[1] / "read" / "typed"


def _typed(choices: Choices) -> bytes:
    """A page as people type it, often with one thing wrong."""

    def v(*good: object) -> str:
        return _value(choices, good, 30)

    head = [f"Title: {v('A')}", f"Tuning: {v('DADGAD', 'drop D', 'D A D F# A D')}",
            f"Capo {v(0, 2, '5th fret')}", f"Time: {v(4, 6, 9)}/{v(4, 8)}", "h = hammer-on",
            ""]  # fmt: skip
    lines = [line for line in head if choices.whole(0, 3)]
    signs = ("-", "--", "-0-", "-2-", "-3", "-12", "h", "p", "/", "\\", "x", "~", "-(3)", "-<12>",
             "-7b9r7", "^", "=", "==", "-t5", "*", "-g3", "-{2}", ".")  # fmt: skip
    quote = choices.one(("", "", "> ", "> > ", "\t"))
    for _ in range(choices.whole(1, 3)):
        labels = choices.one(("eBGDAE", "DAGDAD", "dBGDGD", "      ", "EADGBe"))
        bars = [choices.whole(0, 14) for _ in range(choices.whole(1, 4))]
        if not choices.whole(0, 2):
            marks = ("q", "e", "e.", "e3", "h", "1", "2", "&", "E", "1/8", "|", "3/0", v("q"))
            lines.append("  " + " ".join(choices.one(marks) for _ in range(choices.whole(1, 12))))
        before, after = choices.one(("|", "|", "||", "|:", "")), choices.one(("", "", "|"))
        for label in labels:
            row = label.strip() + before
            for width in bars:
                inside = "-"
                while len(inside) < width:
                    inside += choices.one(signs) if not choices.whole(0, 3) else "--"
                row += inside[: width + 1].ljust(width + 1, "-") + "|"
            row += after + choices.one(
                ("", "", "", "", " x2", "" if choices.whole(0, 40) else " x17", "\t(slow)")
            )
            lines.append(quote + (row if choices.whole(0, 80) else row[: choices.whole(0, 30)]))
            if not choices.whole(0, 60):
                lines.append("")
        if not choices.whole(0, 2):
            lines.append("  1 & 2 & 3 & 4 &" + " 1 & 2 &" * choices.whole(0, 3))
        lines.append(choices.one(("", "", "Then:", "-" * 20)))
    return choices.one(("\n", "\n", "\r\n")).join(lines).encode()


def _typed_page(choices: Choices) -> bytes:
    """One of the pages that tests/read/test_typed.py reads."""
    return choices.one(sorted(_TYPED.glob("*.txt"))).read_bytes()


def _sound(choices: Choices) -> bytes:
    data = bytearray(_good("sound-wav"))
    size = len(data) - 44
    for place, form, good, odd in (
        (24, "<I", (8000, 22050, 44100), (1, 0, 2**31, 3999)),
        (22, "<H", (1, 1, 2), (0, 16, 60, 65535)),
        (34, "<H", (16, 16, 8), (24, 32, 0, 7)),
        (40, "<I", (size,), (0, 2**32 - 1, 10**9)),
    ):
        struct.pack_into(form, data, place, choices.one(good if choices.whole(0, 9) else odd))
    return bytes(data)


@cache
def _good(kind: str) -> bytes:
    if kind == "sound-wav":
        return played()
    if kind == "sound-ogg":
        return _DEMO.read_bytes()[:60_000]
    tune = jig()
    made: dict[str, Callable[[], bytes]] = {
        "abc": lambda: tune_to_abc(tune).encode(),
        "musicxml": lambda: tune_to_musicxml(tune),
        "mxl": lambda: _mxl(Seeded("good")),
        "midi": lambda: tune_to_midi(tune),
        "json": lambda: to_json(tune).encode(),
        "tablature": lambda: layer_to_text(tune, arrangement(), "drone").encode(),
    }
    return made[kind]()


_GRAMMARS: dict[str, tuple[str, Callable[[Choices], bytes]]] = {
    "abc": ("a.abc", _abc),
    "musicxml": ("a.musicxml", _xml),
    "mxl": ("a.mxl", _mxl),
    "midi": ("a.mid", _midi),
    "json": ("a.json", _json),
    "tablature": ("a.txt", _tablature),
    "typed": ("a.txt", _typed),
    "sound": ("a.wav", _sound),
}
FORMATS = tuple(_GRAMMARS)


def damaged(good: bytes, choices: Choices) -> bytes:
    """A file with a few places changed, taken out, doubled, or with its end cut off."""
    data = bytearray(good)
    for _ in range(choices.whole(1, 6)):
        if not data:
            break
        place = choices.whole(0, len(data) - 1)
        length = choices.whole(1, 30)
        what = choices.whole(0, 5)
        if what <= 1:
            data[place] = choices.whole(0, 255)
        elif what == 2:
            del data[place : place + length]
        elif what == 3:
            data[place:place] = data[place : place + length] * choices.whole(1, 20)
        elif what == 4:
            data[place : place + length] = choices.raw(length)
        else:
            del data[max(place, 8) :]
    return bytes(data)


def case(kind: str, choices: Choices) -> tuple[str, bytes]:
    """File name and bytes of one case."""
    name, grammar = _GRAMMARS[kind]
    how = choices.whole(0, 19 if kind == "mxl" else 9)  # what is packed is damaged before, too
    how = how if how < 10 else 0
    if how <= 6:
        return name, grammar(choices)
    if kind == "sound":
        return name, damaged(_good(choices.one(("sound-wav", "sound-ogg"))), choices)
    if kind == "typed" and how <= 8:
        return name, damaged(_typed_page(choices), choices)
    return name, damaged(_good(kind) if how <= 8 else grammar(choices), choices)
