"""What a learner is told about a layer: what is new in it, and where to take care."""

from __future__ import annotations

from collections.abc import Sequence

from liltwright.arrange.ornaments import UnplayedOrnament
from liltwright.doubts import bars_words, ranges
from liltwright.guitar.fretboard import open_midi
from liltwright.keys import note_name, signature_of
from liltwright.tab import LayerName, Setup, TabBar, TabNote
from liltwright.tune import Tune

NEW = {
    "drone": "a drone under the melody, by the thumb",
    "plain-bass": "a bass note of each chord on the main beats",
    "moving-bass": "passing notes that lead the bass from beat to beat",
    "still": "a bass that rests, one note for each chord, and few chords",
    "steady": "the moving bass as it was found first",
    "restless": "a bass that hardly rests, over more chords",
    "fuller": "inner notes on weak beats, a chord where a part ends",
}
MOST_BARS = 12  # so many places of pins are named one by one


def layer_remarks(
    name: LayerName,
    tune: Tune,
    setup: Setup,
    below: Sequence[TabBar],
    bars: Sequence[TabBar],
    fallen: Sequence[int],
) -> tuple[str, ...]:
    """Sentences for the sheet.

    below : the layer below, empty for the melody; fallen : bars that were too hard
    """
    if name == "melody":
        return (
            "The fingering is the one that every later layer keeps: "
            "learn it once, with these fingers of both hands.",
        )
    found = [f"New: {NEW[name]}."]
    strings = _drone_strings(bars, setup) if name == "drone" else ""
    if strings:
        found.append(f"The drone is {strings}.")
    found += _changed(tune, below, bars)
    if name == "plain-bass":
        found += _fretted(tune, bars)
    if fallen:
        found.append(
            f"As in the layer before, because more would be too hard: {_bars(tune, fallen)}."
        )
    return tuple(found)


def ornament_remarks(
    tune: Tune, left_out: Sequence[UnplayedOrnament], hard: Sequence[int] = (), suggested: int = 0
) -> tuple[str, ...]:
    """How many of the tune's ornaments are played, and why the others are not.

    hard : bars that their ornaments would make too hard; suggested : those not of the tune
    """
    written = tune.written_bars()
    asked = [sum(note.ornament is not None for note in bar.notes) for bar in written]
    if not sum(asked):
        return ("The tune has no ornaments to play.",)
    free = [one for one in left_out if one.bar not in hard]
    played = sum(asked) - len(free) - sum(asked[bar] for bar in hard)
    whose = f", {suggested} of them suggested," if suggested else ""
    if played == sum(asked):
        return (f"All {played} ornaments{whose} are played by the fretting hand.",)
    reasons = (
        ([one.bar for one in free if one.why == "fingers"], "the fingers are not free"),
        ([one.bar for one in free if one.why == "tempo"], "the note is too short at this tempo"),
        (list(hard), "the bar would be too hard"),
    )
    why = "; ".join(f"{_bars(tune, bars)}, where {words}" for bars, words in reasons if bars)
    return (f"{played} of {sum(asked)} ornaments{whose} are played; left out in {why}.",)


def pin_remarks(pins: Sequence[str]) -> tuple[str, ...]:
    """What the user's hand fixed."""
    if not pins:
        return ()
    more = f" and {len(pins) - MOST_BARS} more" if len(pins) > MOST_BARS else ""
    return (f"As you wished: {'; '.join(pins[:MOST_BARS])}{more}.",)


def _melody(bar: TabBar) -> list[TabNote]:
    return [note for note in bar if note.part == "melody" and not note.grace]


def _changed(tune: Tune, below: Sequence[TabBar], bars: Sequence[TabBar]) -> list[str]:
    """Where the melody's fingering differs from that of the layer below."""
    changed = [
        index
        for index, (old, new) in enumerate(zip(below, bars, strict=True))
        if [(n.string, n.fret, n.finger, n.pluck) for n in _melody(old)]
        != [(n.string, n.fret, n.finger, n.pluck) for n in _melody(new)]
    ]
    if not changed:
        return ["The melody keeps every finger from the layer before."]
    return [f"The melody is fingered anew in {_bars(tune, changed)}."]


def _fretted(tune: Tune, bars: Sequence[TabBar]) -> list[str]:
    hard = [
        index
        for index, bar in enumerate(bars)
        if any(note.part == "bass" and note.fret for note in bar)
    ]
    if not hard:
        return ["Every bass note is an open string."]
    return [f"Bass notes to be fretted in {_bars(tune, hard)}; all others are open strings."]


def _drone_strings(bars: Sequence[TabBar], setup: Setup) -> str:
    used = sorted({note.string for bar in bars for note in bar if note.part == "bass"})
    signature = signature_of(setup.sounds_in.tonic, setup.sounds_in.mode)
    names = [
        f"the open {_ordinal(string)} string "
        f"({note_name(open_midi(setup.strings_midi, string) + setup.capo, signature)})"
        for string in reversed(used)
    ]
    return " or ".join(names)


def _ordinal(number: int) -> str:
    return {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth"}[number]


def _bars(tune: Tune, indices: Sequence[int]) -> str:
    """ "bar 3" or "bars 3, 5-7 and 9", as printed."""
    written = tune.written_bars()
    numbers = sorted({written[index].number for index in indices})
    if len(numbers) > MOST_BARS:
        return f"{len(numbers)} bars"
    return bars_words(ranges(numbers))
