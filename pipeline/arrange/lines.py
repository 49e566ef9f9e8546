"""Three bass lines for every part to choose from: still, steady, restless.

Task: set the melody three ways, each with a harmony and a bass of its own, under one fingering.
In:   the melody as it is held, the steady line that the search found.
Out:  Lines; a line joined of them part by part, as the user picks.
Method: each way weighs changes of chord and notes between the beats differently
    (models/harmony/lines.json). The still bass strikes where a chord enters and rings; the restless
    one has the walking bass hurry on. None is struck where the thumb plays the melody, so that both
    hands keep their fingers on it in every line.
References: see harmony.py and walking.py; common practice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from liltwright import keys, models
from liltwright.arrange.assemble import AddedVoice, Ground
from liltwright.arrange.bass import usable_tones
from liltwright.arrange.fingered import bass_tables
from liltwright.arrange.harmony import Harmony, harmonise
from liltwright.arrange.moments import Tables
from liltwright.arrange.tab import Below
from liltwright.arrange.timeline import TuneEvents
from liltwright.arrange.voices import Melody, on_main_beats, with_gaps_filled
from liltwright.arrange.walking import walking_bass
from liltwright.errors import UsageError
from liltwright.guitar.plucking import Pluck
from liltwright.tab import LINE_NAMES, Arrangement, Layer, LayerName, LineName
from liltwright.tune import Tune

FILE = "harmony/lines.json"


@dataclass(frozen=True, eq=False)
class BassLine:
    """A harmony and the bass that walks through it."""

    name: LineName
    harmony: Harmony
    tables: Tables
    moving: tuple[Below, ...]
    rests: frozenset[int] = frozenset()
    """Bars of a still bass, in which a beat without a note is no gap."""


@dataclass(frozen=True, slots=True)
class Basses:
    """What the layers take from a line."""

    drone: tuple[Below, ...]
    plain: tuple[Below, ...]
    moving: tuple[Below, ...]

    def voices(self, moving: LayerName, harmony: Harmony) -> tuple[AddedVoice, ...]:
        """Melody, drone, plain bass, and the moving bass under a name, easiest first."""
        return (
            AddedVoice("melody", (), harmony),
            AddedVoice("drone", self.drone, harmony),
            AddedVoice("plain-bass", self.plain, harmony),
            AddedVoice(moving, self.moving, harmony),
        )


def basses(line: BassLine, drone: Sequence[Below], melody: Melody) -> Basses:
    """Drone, plain and moving bass of a line.

    Where no bass can tell the chord, the drone is silent too: no layer is easier than the last.
    """
    events = line.tables.line.events
    fill = [note for note in drone if events[note.event].bar not in line.rests]
    plain = with_gaps_filled(on_main_beats(line.moving, line.tables, melody), fill, line.tables)
    moving = with_gaps_filled(line.moving, fill, line.tables)
    told = {note.event for note in plain}
    return Basses(tuple(note for note in drone if note.event in told), tuple(plain), tuple(moving))


def thumb_plays(line: TuneEvents, plucks: Sequence[Pluck]) -> frozenset[int]:
    """The events on which the thumb plays the melody."""
    onsets = {event.note: number for number, event in enumerate(line.events) if event.onset}
    return frozenset(onsets[note] for note, pluck in enumerate(plucks) if pluck == "p")


def other_lines(
    ground: Ground, melody: Melody, steady: BassLine, barred: frozenset[int], walk: float
) -> tuple[BassLine, ...]:
    """Still, steady and restless line.

    barred : events on which none may be struck; walk : how much the player wants a bass to walk
    """
    return tuple(
        steady if name == "steady" else _line(ground, melody, name, barred, walk, steady)
        for name in LINE_NAMES
    )


def _line(
    ground: Ground,
    melody: Melody,
    name: LineName,
    barred: frozenset[int],
    walk: float,
    steady: BassLine,
) -> BassLine:
    chords = ground.pinned.chords
    harmony = harmonise(ground.tune, transpose=ground.setup.transpose, pinned=chords, line=name)
    wish = walk * models.read_json(FILE)[name]["walk"]
    tables = bass_tables(ground, harmony, None, wish)
    moving = walking_bass(tables, melody, wish, barred)
    unlike = _where_alike(ground.tune, tables, moving, steady.moving)
    if name == "restless" and unlike:
        moving = walking_bass(tables, melody, wish, barred, unlike)
    if name == "still":
        events = tables.line.events
        moving = [
            note for note in moving if tables.wants(events[note.event]) or _enters(tables, note)
        ]
        moving = on_main_beats(moving, tables, melody)
        rests = frozenset(events[note.event].bar for note in moving)
        return BassLine(name, harmony, tables, tuple(moving), rests)
    return BassLine(name, harmony, tables, tuple(moving))


def _where_alike(
    tune: Tune, tables: Tables, moving: Sequence[Below], steady: Sequence[Below]
) -> dict[int, tuple[int, float]]:
    """Pitch and cost of each steady note in the parts where both lines have the same notes."""
    cost = float(models.read_json(FILE)["restless"]["unlike"])
    written, events = tune.written_bars(), tables.line.events
    alike: dict[int, tuple[int, float]] = {}
    for part in range(len(tune.parts)):
        mine, theirs = (
            [n for n in line if written[events[n.event].bar].part == part]
            for line in (moving, steady)
        )
        if [(n.event, n.midi) for n in mine] == [(n.event, n.midi) for n in theirs]:
            alike |= {note.event: (note.midi, cost) for note in theirs}
    return alike


def _enters(tables: Tables, note: Below) -> bool:
    """Whether a chord, or its bar, begins under a note."""
    span = tables.line.events[note.event].span
    return span is not None and span.enters


def joined(ground: Ground, lines: Sequence[BassLine], picked: Mapping[str, LineName]) -> BassLine:
    """One line for the whole tune, each part from the line picked for it, else the steady one."""
    by_name = {line.name: line for line in lines}
    if not set(picked.values()) - {"steady"}:
        return by_name["steady"]
    tune = ground.tune
    written = tune.written_bars()
    whose = [by_name[picked.get(tune.parts[bar.part].name, "steady")] for bar in written]
    spans = [
        span for index, line in enumerate(whose) for span in line.harmony.spans if span.bar == index
    ]
    harmony = Harmony(lines[0].harmony.key, tuple(spans))
    more = frozenset().union(*(usable_tones(one.tables.line, harmony.key) for one in lines))
    tables = bass_tables(ground, harmony, None, by_name["steady"].tables.walk, more)
    events = tables.line.events
    moving = [
        note for line in lines for note in line.moving if whose[events[note.event].bar] is line
    ]
    moving.sort(key=lambda note: note.event)
    rests = frozenset(index for index, line in enumerate(whose) if index in line.rests)
    return BassLine("steady", harmony, tables, tuple(moving), rests)


# ---------------------------------------------------------------- in words


def parse_picks(text: str, tune: Tune) -> dict[str, LineName]:
    """Read "A=restless B=still", or one word for all parts. Raises UsageError."""
    parts = list(dict.fromkeys(part.name for part in tune.parts))
    found: dict[str, LineName] = {}
    for word in text.replace(",", " ").split():
        part, sign, name = word.rpartition("=")
        line = next((known for known in LINE_NAMES if known == name), None)
        if line is None:
            raise UsageError(
                f'"{name}" is no bass line: write one of {", ".join(LINE_NAMES)}, for a part like '
                "A=restless."
            )
        if sign and part not in parts:
            raise UsageError(
                f'"{word}" names part {part}, but the parts of this tune are {", ".join(parts)}.'
            )
        found.update(dict.fromkeys([part] if sign else parts, line))
    return found


def bar_words(arrangement: Arrangement, line: Layer, bar: int) -> tuple[str, str]:
    """The chords and the bass notes of a line in a written bar; a hyphen where there is none."""
    sounds = arrangement.setup.sounds_in
    signature = keys.signature_of(sounds.tonic, sounds.mode)
    chords = " ".join(chord.symbol for chord in line.chords if chord.bar == bar)
    low = [note.midi for note in line.bars[bar] if note.part == "bass"]
    return chords, " ".join(keys.note_name(midi, signature) for midi in low) or "-"


def lines_words(tune: Tune, arrangement: Arrangement) -> tuple[str, ...]:
    """A row for each part and line: bar for bar the chords, and under them the bass notes."""
    written = tune.written_bars()
    rows = []
    for number, part in enumerate(tune.parts):
        bars = [i for i, bar in enumerate(written) if bar.part == number and bar.kind != "pickup"]
        for line in arrangement.lines:
            words = [bar_words(arrangement, line, bar) for bar in bars]
            cells = [f"{chords} ({notes})" for chords, notes in words]
            taken = arrangement.picked.get(part.name, "steady") == line.name
            mark = "  <- taken" if taken else ""
            rows.append(f"{part.name} {line.name:<9} {' | '.join(cells)}{mark}")
    return tuple(rows)
