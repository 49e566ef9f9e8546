"""Files that once broke the program, each with what must be said about it.

A row is a file name, its bytes (made when asked for) and words of the sentence; "" for a file that
must be read.
"""

from __future__ import annotations

import io
import json
import struct
import wave
import zipfile
from collections.abc import Callable

import numpy as np

from liltwright.records import to_json
from tests.write.hand_made import jig

Row = tuple[str, str | bytes, Callable[[], bytes], str]


def abc(body: str = "A8|B8|", fields: str = "", key: str = "D") -> Callable[[], bytes]:
    return lambda: f"X:1\nT:A\nM:4/4\nL:1/8\n{fields}K:{key}\n{body}\n".encode()


def tune(old: str, new: str) -> Callable[[], bytes]:
    def made() -> bytes:
        text = to_json(jig())
        assert old in text, old
        return text.replace(old, new, 1).encode()

    return made


def own_tab(old: str, new: str) -> Callable[[], bytes]:
    """Text tablature of this program with the first of some words changed."""
    from liltwright.write.formats.tablature import layer_to_text
    from tests.write.hand_made import arrangement

    def made() -> bytes:
        text = layer_to_text(jig(), arrangement(), "drone")
        assert old in text, old
        return text.replace(old, new, 1).encode()

    return made


def field(name: str, value: object) -> Callable[[], bytes]:
    return lambda: json.dumps({**json.loads(to_json(jig())), name: value}).encode()


def midi(*events: bytes, division: int = 96) -> Callable[[], bytes]:
    notes = b"".join(
        b"\x00\x90" + bytes([pitch, 80]) + b"\x60\x80" + bytes([pitch, 0])
        for pitch in (62, 64, 66, 67, 69, 71, 73, 74) * 2
    )
    track = b"".join(events) + notes + b"\x00\xff\x2f\x00"
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, division)
    return lambda: head + b"MTrk" + struct.pack(">I", len(track)) + track


_NOTE = "<note><pitch><step>D</step><octave>4</octave></pitch><duration>4</duration></note>"
_TIME = "<time><beats>4</beats><beat-type>4</beat-type></time>"


def xml(notes: str = _NOTE, time: str = _TIME, divisions: str = "1") -> Callable[[], bytes]:
    attributes = f"<attributes><divisions>{divisions}</divisions>{time}</attributes>"
    measure = f"<measure number='1'>{attributes}{notes}</measure>"
    return lambda: f"<score-partwise><part id='P1'>{measure}</part></score-partwise>".encode()


def mxl(
    *, container: bytes | None = None, method: int = zipfile.ZIP_DEFLATED, damage: bool = False
) -> Callable[[], bytes]:
    def made() -> bytes:
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", method) as archive:
            if container is not None:
                archive.writestr("META-INF/container.xml", container)
            archive.writestr("score.xml", xml(_NOTE * 40)())
        data = bytearray(out.getvalue())
        if damage:
            for place in range(45, 70):
                data[place] ^= 0x5A
        return bytes(data)

    return made


def bomb() -> bytes:
    """A container that unpacks to far more than it may."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        with archive.open("META-INF/container.xml", "w", force_zip64=True) as file:
            for _ in range(600):
                file.write(bytes(1_000_000))
        archive.writestr("score.xml", xml()())
    return out.getvalue()


def encrypted() -> bytes:
    """An archive whose members say that they want a password."""
    data = bytearray(mxl()())
    data[6] |= 1
    data[data.index(b"PK\x01\x02") + 8] |= 1
    return bytes(data)


def wav(rate: int, frames: int = 132_000, channels: int = 1) -> Callable[[], bytes]:
    def made() -> bytes:
        out = io.BytesIO()
        with wave.open(out, "wb") as file:
            file.setnchannels(channels)
            file.setsampwidth(2)
            file.setframerate(rate)
            file.writeframes(b"\x00\x20\x00\xe0" * (frames * channels // 2))
        return out.getvalue()

    return made


def played() -> bytes:
    """Eighty plain notes of a tune at 8000 Hz."""
    seconds = np.arange(2000) / 8000
    fade = np.minimum(1, 20 * np.minimum(seconds, 0.25 - seconds))
    pitches = [note.midi for bar in jig().written_bars() for note in bar.notes]
    notes = [
        fade * np.sin(2 * np.pi * 440 * 2 ** ((pitch - 69) / 12) * seconds)
        for pitch in (pitches * 2)[:80]
    ]
    samples = (12_000 * np.concatenate(notes)).astype("<i2").tobytes()
    return wav(8000, 80 * 2000)()[:44] + samples


def plain(text: str | bytes) -> Callable[[], bytes]:
    return lambda: text.encode() if isinstance(text, str) else text


DIGITS = "9" * 5000
STRINGS = b"e|-0-2-3-5-|\n" + b"".join(
    name + b"|---------|\n" for name in (b"B", b"G", b"D", b"A", b"E")
)
METRE = b"\x00\xff\x58\x04"
TABLE: tuple[Row, ...] = (
    ("a sample rate of 1", "a.wav", wav(1), "1 Hz as its sample rate"),
    ("a codec that nobody knows", "a.wav",
     lambda: wav(22050)()[:20] + b"\x34\x12" + wav(22050)()[22:], "codec that is not known"),
    ("sixty channels", "a.wav", wav(44100, 4000, 60), "channels"),
    ("a playlist", "a.wav", plain("#EXTM3U\n#EXTINF:10,\nother.ts\n#EXT-X-ENDLIST\n"), "cannot"),
    ("a list of files", "a.wav", plain("ffconcat version 1.0\nfile other.wav\n"), "cannot"),
    ("a container that is a bomb", "a.mxl", lambda: bomb(), "once unpacked"),
    ("damaged deflate", "a.mxl", mxl(damage=True), "broken compressed"),
    ("packed by LZMA", "a.mxl", mxl(method=zipfile.ZIP_LZMA), "deflate"),
    ("encrypted", "a.mxl", encrypted, "broken compressed"),
    ("container names nothing", "a.mxl", mxl(container=b"<c><rootfile/></c>"), "broken"),
    ("midi metre over 2^20", "a.mid", midi(METRE + b"\x04\x14\x18\x08"), "metre"),
    ("midi metre 0", "a.mid", midi(METRE + b"\x00\x02\x18\x08"), "metre"),
    ("midi one long delta", "a.mid", midi(b"\xff\xff\xff\x7f\xff\x01\x00", division=1), "whole"),
    ("midi a long pause", "a.mid",
     midi(b"\x00\x90\x3e\x50\x31\x80\x3e\x00\xff\x7f\xff\x01\x00", division=97),
     "seconds from one"),
    ("abc soft hyphen in a title", "a.abc",
     lambda: "X:1\nT:A\u00ad\u202eB\nM:4/4\nA8|\n".encode(), "no K: line"),
    ("midi tempo 0", "a.mid", midi(b"\x00\xff\x51\x03\x00\x00\x00"), "tempo of 0"),
    ("midi key 127", "a.mid", midi(b"\x00\xff\x59\x02\x7f\x00"), "broken MIDI"),
    ("midi latin-1 name", "a.mid", midi(b"\x00\xff\x03\x04Sl\xe1n"), ""),
    ("midi latin-1 and damage", "a.mid", lambda: midi(b"\x00\xff\x03\x04Sl\xe1n")()[:-9], "broken"),
    ("midi control characters", "a.mid", midi(b"\x00\xff\x03\x03A\x1bB"), ""),
    ("abc digits in a chord symbol", "a.abc", abc(f'"A{"1" * 60}x"A3B5|'), ""),
    ("abc quotes before a comment", "a.abc", abc('"' * 80 + "\\% A8|"), ""),
    ("abc empty chord", "a.abc", abc("[]A8|"), ""),
    ("abc endless note", "a.abc", abc("A9999|ABc def|"), "whole notes"),
    ("abc slow tempo", "a.abc", abc(fields="Q:1/4=0.000001\n"), "beats a minute"),
    ("abc tempo of 400 digits", "a.abc", abc(fields=f"Q:1/4={DIGITS[:400]}\n"), "digits"),
    ("abc length of 5000 digits", "a.abc", abc(f"A{DIGITS}|"), "digits"),
    ("abc number of 5000 digits", "a.abc", lambda: b"X:" + DIGITS.encode() + abc()()[3:], ""),
    ("abc tuplet of 5000 digits", "a.abc", abc(f"(3:{DIGITS}:3 ABc d4|"), "digits"),
    ("abc title of an entity", "a.abc", abc(fields=f"T:&#{DIGITS};\n"), ""),
    ("abc octave", "a.abc", abc(key="D octave=999999"), "octaves"),
    ("abc 100,000 repeats", "a.abc", abc("|:A2:|\n" * 100_000), "one tune"),
    ("abc order of parts", "a.abc", abc(fields=f"P:{'(' * 30}A{')9' * 30}\n"), ""),
    ("abc control characters", "a.abc", abc(fields="T:\x1b[31mA\x00\n".replace("\0", "\x07")), ""),
    ("xml power as duration", "a.xml", xml(_NOTE.replace(">4</d", ">1e99999999</d")), "number"),
    ("xml power as tempo", "a.xml", xml("<sound tempo='1e99999999'/>" + _NOTE), "number"),
    ("xml power as offset", "a.xml",
     xml("<harmony><offset>1e99999999</offset></harmony>" + _NOTE), "number"),
    ("xml beat-type", "a.xml", xml(time=_TIME.replace("4</beat-type", "1000000</beat-type")),
     "metre"),
    ("xml beat-type 7", "a.xml", xml(time=_TIME.replace("4</beat-type", "7</beat-type")), "metre"),
    ("xml beats 0", "a.xml", xml(time=_TIME.replace("4</beats", "0</beats")), "metre"),
    ("xml repeats", "a.xml",
     xml(_NOTE + "<barline><repeat direction='backward' times='999999999'/></barline>"), "repeat"),
    ("xml root-alter", "a.xml",
     xml("<harmony><root><root-step>D</root-step><root-alter>999999999</root-alter></root>"
         "</harmony>" + _NOTE), "alteration"),
    ("xml alter inf", "a.xml", xml(_NOTE.replace("<octave", "<alter>inf</alter><octave")),
     "number"),
    ("xml 400 digits", "a.xml", xml(_NOTE.replace(">4</d", f">{DIGITS[:400]}</d")), "digits"),
    ("json start 6/0", "tune.json", tune('"start": "0"', '"start": "6/0"'), "6/0"),
    ("json start as a power", "tune.json", tune('"start": "0"', '"start": "1e99999999"'), "1e99"),
    ("json length Infinity", "tune.json", tune('"length": "1/8"', '"length": Infinity'), "number"),
    ("json tonic H", "tune.json", field("tonic", "H"), "tonic"),
    ("json tempo NaN", "tune.json", field("beats_per_minute", float("nan")), "number"),
    ("json tempo 0", "tune.json", field("beats_per_minute", 0), "beats a minute"),
    ("json tempo -5", "tune.json", field("beats_per_minute", -5), "beats a minute"),
    ("json tempo 1e308", "tune.json", field("beats_per_minute", 1e308), "beats a minute"),
    ("json beat 0", "tune.json", field("beat", "0"), "beat"),
    ("json meter 0/8", "tune.json", field("meter", "0/8"), "metre"),
    ("json meter 6/7", "tune.json", field("meter", "6/7"), "metre"),
    ("json rounds", "tune.json", field("rounds", 99_999_999), "rounds"),
    ("json swing NaN", "tune.json", field("swing", float("nan")), "number"),
    ("json repeats", "tune.json", tune('"repeats": 2', '"repeats": 9999999'), "repeats"),
    ("json half a surrogate", "tune.json", field("title", "A\ud800B"), ""),
    ("json deep", "tune.json", plain("{" + '"a":[' * 100_000), "liltwright"),
    ("json 5000 digits", "tune.json", plain('{"a": ' + DIGITS + "}"), "liltwright"),
    ("typed tab fret 35", "a.txt", plain(STRINGS.replace(b"3-5", b"-35")), "limit of fret 24"),
    ("typed tab capo 15", "a.txt", plain(b"Capo 15\n" + STRINGS), "limit of 12"),
    ("typed tab capo of 5000 digits", "a.txt", plain(f"Capo {DIGITS}\n".encode() + STRINGS),
     "limit of 12"),
    ("typed tab repeats", "a.txt", plain(STRINGS.replace(b"5-|", b"5-| x999999999")), "repeated"),
    ("typed tab bars", "a.txt", plain(STRINGS.replace(b"-|", b"-|" * 3000)), "bars"),
    ("text tablature with a hidden sign in a mark", "a.txt",
     own_tab("  e  ", "  e\u00ad "), "mark"),
    ("a name that is not UTF-8", b"Sl\xe1n.abc", abc(), ""),
    ("a recording's name that is not UTF-8", b"Sl\xe1n.wav", wav(44100, 400_000), ""),
    ("a name of 250 letters", "a" * 245 + ".abc", abc(), ""),
    ("a recording named as a tune", "a.abc", wav(44100, 400_000), ""),
    ("a tune named as a recording", "a.wav", abc(), ""),
)  # fmt: skip
