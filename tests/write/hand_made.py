"""A tune and an arrangement written by hand: two parts of a jig with a pick-up and endings."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from liltwright.tab import Arrangement, Chord, Layer, Round, Setup, TabBar, TabNote
from liltwright.tune import (
    Doubt,
    Ending,
    HeardBar,
    KeyName,
    NoteEvent,
    Part,
    ScoreNote,
    Source,
    Tune,
)
from liltwright.write.sheet.timing import clock_of, played_bars

EIGHTH = Fraction(1, 8)
DADGAD = (38, 45, 50, 55, 57, 62)
SETUP = Setup("DADGAD", DADGAD, 2, -10, KeyName("E", "mixolydian"), KeyName("D", "mixolydian"))

_STEPS = {"D": 62, "E": 64, "F": 66, "G": 67, "A": 69, "B": 71, "c": 72, "d": 74, "e": 76, "f": 78}
_A = ("DFA AGF", "GAB c2A", "dAF DFA", "GEC E2D".replace("C", "D"),
      "DFA AGF", "GAB cBA", "fed cAG", "AFD D2")  # fmt: skip
_B = ("dcd AFD", "GAB c2A", "def edc", "AFA E2A", "dcd AFD", "GAB cBA")
_B_FIRST = ("fed cAG", "AFD D2")
_B_SECOND = ("fdc AGE", "D3 D2")


def _bar(text: str) -> tuple[ScoreNote, ...]:
    notes, at = [], Fraction(0)
    for place, letter in enumerate(text.replace(" ", "")):
        if letter.isdigit():
            continue
        after = text.replace(" ", "")[place + 1 : place + 2]
        length = EIGHTH * (int(after) if after.isdigit() else 1)
        notes.append(ScoreNote(_STEPS[letter], at, length))
        at += length
    return tuple(notes)


def jig(*, swing: float = 1.3) -> Tune:
    """AABB in D mixolydian, 6/8, a pick-up before each part, endings in the second."""
    pickup = (ScoreNote(_STEPS["A"], Fraction(5, 8), EIGHTH),)
    parts = (
        Part("A", 2, pickup, tuple(_bar(text) for text in _A)),
        Part("B", 2, pickup, tuple(_bar(text) for text in _B), (
            Ending((1,), tuple(_bar(text) for text in _B_FIRST)),
            Ending((2,), tuple(_bar(text) for text in _B_SECOND)),
        )),
    )  # fmt: skip
    return Tune(
        Source("lamp-at-the-ferry.wav", "0" * 64, 40.0), "jig", "6/8", Fraction(3, 8), 112.0, "D",
        "mixolydian", 1, parts, "AABB", title="The Lamp at the Ferry", swing=swing,
    )  # fmt: skip


def arrangement(tune: Tune | None = None) -> Arrangement:
    """Melody, drone and plain bass in DADGAD with the capo at 2, a tone and an octave down."""
    tune = tune or jig()
    melody = tuple(tuple(_fingered(note) for note in bar.notes) for bar in tune.written_bars())
    drone = tuple(bar + _basses(bar, (6,)) for bar in melody)
    plain = tuple(bar + _basses(bar, (6, 5)) for bar in melody)
    chords = tuple(Chord(i, Fraction(0), "E5" if i % 2 else "E", "E") for i in range(len(melody)))
    layers = (
        Layer("melody", melody, difficulty={"moves_per_s": 0.8, "stretch_mm": 60.0},
              remarks=("The tune alone, as the fuller layers finger it.",)),
        Layer("drone", drone, chords, {"moves_per_s": 0.8, "stretch_mm": 60.0},
              ("New: the open sixth string on the first beat.",)),
        Layer("plain-bass", plain, chords, {"moves_per_s": 1.1, "stretch_mm": 72.0},
              ("New: the fifth string on the second beat.",)),
    )  # fmt: skip
    return Arrangement(
        SETUP, tune.meter, tune.beats_per_minute, layers,
        (Round("melody", "mp"), Round("drone"), Round("plain-bass", "f")), title=tune.title,
    )  # fmt: skip


def _fingered(note: ScoreNote) -> TabNote:
    midi = note.midi + SETUP.transpose
    string = next(s for s in range(1, 7) if DADGAD[6 - s] + SETUP.capo <= midi)
    fret = midi - SETUP.capo - DADGAD[6 - string]
    return TabNote("melody", string, fret, midi, note.start, note.length, min(fret, 4),
                   "a" if string == 1 else "m" if string == 2 else "i")  # fmt: skip


def _basses(bar: TabBar, strings: tuple[int, ...]) -> TabBar:
    """Open bass strings on the two beats of a full bar."""
    if len(bar) < 2:
        return ()
    return tuple(
        TabNote("bass", strings[beat % len(strings)], 0,
                DADGAD[6 - strings[beat % len(strings)]] + SETUP.capo,
                Fraction(3 * beat, 8), Fraction(3, 8) if beat == 0 else Fraction(1, 4), 0, "p")
        for beat in range(2)
    )  # fmt: skip


def heard_jig() -> Tune:
    """The jig as if it had been heard once through from a recording, steady and even."""
    tune = jig(swing=1.0)
    clock = clock_of(tune)
    written = tune.written_bars()
    bars = played_bars(tune, clock, start_s=0.5)
    heard: list[HeardBar] = []
    events = []
    for bar in bars:
        notes = written[bar.index].notes
        if bar.number == 0 and heard:  # a later pick-up completes the bar before it
            before = heard.pop()
            heard.append(HeardBar(before.start_s, bar.end_s, before.notes + notes, 0.9))
        else:
            heard.append(HeardBar(bar.start_s, bar.end_s, notes, 0.9))
        for note in notes:
            onset_s = bar.line_s + clock.seconds(note.start)
            end_s = bar.line_s + clock.seconds(note.start + note.length) - 0.01
            events.append(NoteEvent(onset_s, end_s, note.midi - 12.0, 0.9))
    duration_s = bars[-1].end_s + 0.5
    doubts = (Doubt(5, heard[5].start_s, "The third note may be C sharp."),)
    return replace(tune, source=Source(tune.source.file, "0" * 64, duration_s),
                   heard=tuple(events), bars_heard=tuple(heard), doubts=doubts,
                   octave_shift=1)  # fmt: skip
