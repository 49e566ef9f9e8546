"""The stages by which a finished page is learned, each with what is new in it.

Task     the page in layers: tune alone, drone, plain bass, its own bass, the page itself
In       the tune, setup and tab bars of the page
Out      Layers in the order of learning
Method   The tune keeps the page's fingering throughout. The drone is tonic or fifth on open strings
         of the thumb on the main beats, where the tune leaves them alone. The plain bass is the
         page's own bass brought to the main beats: of the notes of a stretch its root, else its
         fifth, else what stands on the beat. A stage that would be the same as the one before is
         left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from liltwright import keys
from liltwright.arrange.grades import difficulty, grade_bar
from liltwright.bassbeats import pulse_of
from liltwright.counting import count
from liltwright.doubts import bars_words, ranges
from liltwright.guitar.fretboard import open_midi
from liltwright.guitar.player import Player
from liltwright.tab import Chord, Layer, LayerName, Setup, TabBar, TabNote
from liltwright.tune import Tune
from liltwright.unpick.madeof import MadeOf

NEW: dict[LayerName, str] = {
    "melody": "The tune alone, with the fingers that the finished page has for it.",
    "drone": "New: tonic or fifth on an open string, by the thumb; it is not in the finished page.",
    "plain-bass": "New: the page's own bass, only its roots and fifths, on the main beats.",
    "finished-bass": "New: the bass as it stands in the finished page.",
    "finished": "The finished page.",
}
THUMB_STRINGS = (6, 5, 4)  # those that the thumb plays (common practice)


def stages(
    tune: Tune,
    setup: Setup,
    bars: Sequence[TabBar],
    chords: tuple[Chord, ...],
    made: MadeOf,
    player: Player,
) -> tuple[Layer, ...]:
    """Every stage of the page."""
    tune_only = [tuple(n for n in bar if n.part == "melody") for bar in bars]
    has_bass = made.bass != "none"
    found: list[tuple[LayerName, list[TabBar]]] = [("melody", tune_only)]
    drone = _joined(tune_only, _drone(tune, setup, tune_only))
    if has_bass and made.bass != "drone" and drone != tune_only:
        found.append(("drone", drone))
    if made.bass == "moving":
        found.append(("plain-bass", _joined(tune_only, _plain(tune, bars, chords))))
    if has_bass and made.inner:
        found.append(("finished-bass", [tuple(n for n in b if n.part != "inner") for b in bars]))
    if has_bass or made.inner:
        found.append(("finished", list(bars)))
    layers: list[Layer] = []
    for name, mine in found:
        if layers and layers[-1].bars == tuple(mine):
            continue
        layers.append(_layer(name, tune, setup, mine, chords, made, player))
    return tuple(layers)


def _layer(
    name: LayerName,
    tune: Tune,
    setup: Setup,
    bars: Sequence[TabBar],
    chords: tuple[Chord, ...],
    made: MadeOf,
    player: Player,
) -> Layer:
    written = tune.written_bars()
    grades = [
        grade_bar(bar, one.length, tune, setup, player.hand)
        for bar, one in zip(bars, written, strict=True)
    ]
    remarks = [NEW[name]]
    if name in ("finished-bass", "finished") and made.walks:
        remarks.append(f"The bass walks in {bars_words(ranges(list(made.walks)))}.")
    if name == "finished" and made.inner:
        remarks.append(f"New: {count(made.inner, 'inner note')}.")
    if name == "finished" and made.held:
        remarks.append(f"A finger stays down in {bars_words(ranges(list(made.held)))}.")
    if name == "finished" and made.grades.hard:
        words = bars_words(ranges(list(made.grades.hard)))
        remarks.append(f"Hard: {words}; practise these slowly and alone.")
    if name == "melody" and made.least_sure:
        remarks.append(
            f"What is tune is not sure in {bars_words(ranges(list(made.least_sure)))}: "
            "check by ear."
        )
    return Layer(name, tuple(bars), chords, difficulty(grades, _shifted(bars)), tuple(remarks))


def _shifted(bars: Sequence[TabBar]) -> int:
    """Bars in which the hand moves: a note lies outside four frets around where it was."""
    low, found = 1, 0
    for bar in bars:
        moved = False
        for note in bar:
            if note.fret and not low <= note.fret < low + 4:
                low, moved = max(1, note.fret - note.finger + 1 if note.finger else note.fret), True
        found += moved
    return found


def _joined(upper: Sequence[TabBar], lower: Sequence[Sequence[TabNote]]) -> list[TabBar]:
    return [
        tuple(sorted((*one, *two), key=lambda n: (n.start, not n.grace, n.string)))
        for one, two in zip(upper, lower, strict=True)
    ]


# ---------------------------------------------------------------- drone and plain bass


def _drone(tune: Tune, setup: Setup, bars: Sequence[TabBar]) -> list[list[TabNote]]:
    tonic = keys.pitch_class(setup.sounds_in.tonic)
    strings = sorted(
        (
            string
            for string in THUMB_STRINGS
            if _open(setup, string) % 12 in (tonic, (tonic + 7) % 12)
        ),
        key=lambda string: (_open(setup, string) % 12 != tonic, -string),
    )
    found: list[list[TabNote]] = []
    for index, (bar, written) in enumerate(zip(bars, tune.written_bars(), strict=True)):
        notes: list[TabNote] = []
        found.append(notes)
        if written.kind == "pickup":
            continue
        before = bars[index - 1] if index else ()
        beats = [beat for beat in pulse_of(tune).main if beat < written.length]
        for place, beat in enumerate(beats):
            end = beats[place + 1] if place + 1 < len(beats) else written.length
            for string in strings:
                if _rings_in(before, tune, string) > beat:
                    continue
                room = _room(bar, string, beat, end)
                if room is not None:
                    midi = _open(setup, string)
                    notes.append(TabNote("bass", string, 0, midi, beat, room, 0, "p"))
                    break
    return found


def _open(setup: Setup, string: int) -> int:
    return open_midi(setup.strings_midi, string) + setup.capo


def _rings_in(before: TabBar, tune: Tune, string: int) -> Fraction:
    """How far into a bar the string still sounds from the bar before."""
    ends = [n.start + n.length - tune.bar_length for n in before if n.string == string]
    return max(ends, default=Fraction(0))


def _room(bar: TabBar, string: int, beat: Fraction, end: Fraction) -> Fraction | None:
    """How long a string is free from a beat on; None when it is not, or only for a moment."""
    for note in bar:
        if note.string == string and note.start <= beat < note.start + note.length:
            return None
    taken = [note.start for note in bar if note.string == string and beat < note.start < end]
    room = min([*taken, end]) - beat
    return room if room >= min((end - beat) / 2, Fraction(1, 8)) else None


def _plain(tune: Tune, bars: Sequence[TabBar], chords: tuple[Chord, ...]) -> list[list[TabNote]]:
    found: list[list[TabNote]] = []
    for index, (bar, written) in enumerate(zip(bars, tune.written_bars(), strict=True)):
        notes: list[TabNote] = []
        found.append(notes)
        if written.kind == "pickup":
            continue
        melody = tuple(n for n in bar if n.part == "melody")
        beats = [beat for beat in pulse_of(tune).main if beat < written.length]
        for place, beat in enumerate(beats):
            end = beats[place + 1] if place + 1 < len(beats) else written.length
            root = _root_at(chords, index, beat)
            inside = [n for n in bar if n.part == "bass" and not n.grace and beat <= n.start < end]
            ordered = sorted(inside, key=lambda n: (_rank(n.midi, root), n.start != beat, n.start))
            for note in ordered:
                if note.start != beat and _rank(note.midi, root) > 1:
                    continue
                room = _room(melody, note.string, beat, end)
                if room is not None:
                    notes.append(replace(note, start=beat, length=room, technique=None))
                    break
    return found


def _root_at(chords: Sequence[Chord], bar: int, beat: Fraction) -> int | None:
    here = [c for c in chords if c.bar == bar and c.start <= beat]
    return keys.pitch_class(here[-1].root) if here else None


def _rank(midi: int, root: int | None) -> int:
    """0 for the root of the chord, 1 for its fifth, 2 for anything else."""
    if root is None:
        return 0
    return {0: 0, 7: 1}.get((midi - root) % 12, 2)
