"""Elements of MusicXML -> notes, bars and their signs, one by one.

Task     say what a pitch, an ornament, a chord symbol, a bar line or a key signature means
In       elements of a score
Out      plain values; bars while they are read
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from liltwright.keys import LETTER_SEMITONES, signature_of
from liltwright.limits import check, number, short, whole
from liltwright.notation import CHORD_KINDS
from liltwright.read.bars import ReadBar
from liltwright.tune import MODES, KeyName, Mode, Ornament, ScoreNote

_OTHER_MODES: dict[str, Mode] = {"ionian": "major", "aeolian": "minor", "locrian": "phrygian"}
MODE_NAMES: dict[str, Mode] = {mode: mode for mode in MODES} | _OTHER_MODES  # type: ignore[dict-item]
_SIGNS: dict[str, Ornament] = {
    "turn": "roll", "inverted-turn": "roll", "delayed-turn": "roll", "vertical-turn": "roll",
    "delayed-inverted-turn": "roll", "trill-mark": "grace", "shake": "grace", "mordent": "tap",
    "inverted-mordent": "cut", "schleifer": "slide", "tremolo": "triplet",
}  # fmt: skip
_TONICS = ("C", "G", "D", "A", "E", "B", "F#", "C#", "F", "Bb", "Eb", "Ab", "Db", "Gb", "Cb",
           "G#", "D#", "A#")  # fmt: skip


@dataclass(slots=True)
class XmlNote:
    """A note of the melody while it is read; its length may grow by ties."""

    midi: int
    start: Fraction
    length: Fraction
    ornament: Ornament | None = None
    goes_on: bool = False
    graces: tuple[int, ...] = ()


@dataclass(slots=True)
class XmlBar:
    """One measure while it is read."""

    notes: list[XmlNote] = field(default_factory=list)
    chords: list[tuple[Fraction, str]] = field(default_factory=list)
    length: Fraction = Fraction(0)
    opens: bool = False
    closes: bool = False
    times: int = 1
    ending: tuple[int, ...] = ()
    label: str = ""


def finished_bar(bar: XmlBar, notes: list[XmlNote]) -> ReadBar:
    """The bar as every reader hands it on. notes : those of it that begin in it"""
    return ReadBar(
        notes=tuple(
            ScoreNote(n.midi, n.start, n.length, n.ornament, graces=n.graces) for n in notes
        ),
        length=bar.length,
        opens=bar.opens,
        closes=bar.closes,
        times=bar.times,
        ending=bar.ending,
        label=bar.label,
        chords=tuple(bar.chords),
    )


def read_barline(element: etree._Element, bar: XmlBar) -> None:
    """Note in the bar what a <barline> says of repeats and endings."""
    left = element.get("location", "right") == "left"
    ending = element.find("ending")
    if ending is not None and ending.get("type") == "start":
        numbers = (ending.get("number") or "").replace(" ", ",").split(",")
        bar.ending = tuple(whole(one) for one in numbers if one.isdecimal())
    repeat = element.find("repeat")
    if repeat is not None and repeat.get("direction") == "forward":
        bar.opens = True
    elif repeat is not None:
        bar.times = max(2, whole(repeat.get("times") or "2"))
        bar.closes = True
    style = element.findtext("bar-style") or ""
    if style in ("light-light", "light-heavy", "heavy-heavy") and not left:
        bar.closes = True


def midi_of_pitch(pitch: etree._Element) -> int:
    """The pitch of a <pitch> element."""
    step = (pitch.findtext("step") or "C").strip()
    alter = _alter(pitch.findtext("alter"))
    return 12 * (whole(pitch.findtext("octave") or "4") + 1) + LETTER_SEMITONES[step] + alter


def ornament_of(element: etree._Element, grace: list[int], midi: int) -> Ornament | None:
    """The ornament that signs or grace notes make of a note; midi : its own pitch."""
    for sign in element.iterfind("notations/ornaments/*"):
        if str(sign.tag) in _SIGNS and sign.get("type") in (None, "single", "start"):
            return _SIGNS[str(sign.tag)]
    if element.find("notations/articulations/scoop") is not None:
        return "slide"
    if not grace:
        return None
    if len(grace) > 1:
        return "grace"
    return "cut" if grace[0] > midi else "tap"


def symbol_of(harmony: etree._Element) -> str:
    """A chord symbol as text: root, the kind as written or as named, bass."""
    kind = harmony.find("kind")
    text = kind.get("text") if kind is not None else None
    if text is None and kind is not None:
        named = {value: key for key, value in reversed(CHORD_KINDS.items())}
        text = named.get((kind.text or "").strip(), "")
    bass = harmony.find("bass")
    return (
        _spelled(harmony, "root/root") + (text or "")
        + ("/" + _spelled(harmony, "bass/bass") if bass is not None else "")
    )  # fmt: skip


def _alter(text: str | None) -> int:
    alter = round(number(text or "0"))
    check("alter", abs(alter), "The score")
    return alter


def divisions_of(text: str) -> int:
    """Divisions of a quarter. Raises ValueError for none or fewer."""
    divisions = whole(text)
    if divisions <= 0:
        raise ValueError(f"{divisions} divisions of a quarter")
    return divisions


def _spelled(harmony: etree._Element, path: str) -> str:
    alter = _alter(harmony.findtext(f"{path}-alter"))
    sign = "#" * alter if alter > 0 else "b" * -alter
    return short(harmony.findtext(f"{path}-step") or "", 8).strip() + sign


def key_named(fifths: int, mode_name: str, tonic: str) -> KeyName:
    """The key with so many fifths and this mode; its tonic where the score names one."""
    mode = MODE_NAMES[mode_name]
    if tonic in _TONICS:
        return KeyName(tonic, mode)
    wanted = fifths + (1 if mode_name == "locrian" else 0)
    fitting = [name for name in _TONICS if signature_of(name, mode) == wanted]
    return KeyName(fitting[0] if fitting else "C", mode)
