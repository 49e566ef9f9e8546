"""What is played between two tunes of a set: two bars that give the next tune's key and pulse.

Task: lead into a tune, in its own tuning, metre and tempo, and say what has to be changed before.
In:   a Tune with its Arrangement; the Transition from the tune before (sets.py).
Out:  the Arrangement with two bars before its first round, and the words over them.
Method: in the first bar the tonic chord rings; in the second the bass alone marks the main beats on
    the fifth, low on the thumb's strings, so that the tune can fall in. It leaves room for the
    pick-up.
References: common practice of playing sets.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from liltwright import keys
from liltwright.arrange.rounds import closing_chord
from liltwright.arrange.sets import Transition
from liltwright.bassbeats import pulse_of
from liltwright.guitar.fretboard import open_midi
from liltwright.pins import parse_pin
from liltwright.tab import Arrangement, TabBar, TabNote
from liltwright.tune import Tune

HIGHEST_FRET = 5  # the way in is played near the nut, where every hand finds it
FIFTH = 7  # semitones


def with_lead_in(tune: Tune, arrangement: Arrangement, change: Transition) -> Arrangement:
    """The arrangement with two bars that lead into it from the tune before."""
    bars = (closing_chord(tune, arrangement), _fifth_bar(tune, arrangement))
    return replace(arrangement, lead_in=bars, change=change_words(change))


def change_words(change: Transition) -> str:
    """ "Change: string 3 down 1, G to F#; capo from none to fret 2", or to play straight on."""
    steps = [*change.strings, *([change.capo] if change.capo else [])]
    return f"Change: {'; '.join(steps)}" if steps else "Straight on"


def _fifth_bar(tune: Tune, arrangement: Arrangement) -> TabBar:
    first = next(iter(tune.written_bars()), None)
    end = tune.bar_length
    if first is not None and first.kind == "pickup":
        end -= first.length
    beats = [beat for beat in pulse_of(tune).main if beat < end]
    places = sorted(_places(arrangement, FIFTH)) or sorted(_places(arrangement, 0))
    if not places or not beats:
        return ()
    fret, low, midi = places[0]
    note = TabNote("bass", -low, fret, midi, Fraction(0), end, min(fret, 4), "p")
    return tuple(_struck(note, beats, end))


def _places(arrangement: Arrangement, degree: int) -> Iterator[tuple[int, int, int]]:
    """Fret, string (negative: the lowest sorts first) and pitch of a degree, for the thumb."""
    setup = arrangement.setup
    tone = (keys.pitch_class(setup.sounds_in.tonic) + degree) % 12
    pins = [parse_pin(text) for text in arrangement.pins]
    never = [pin for pin in pins if pin.kind == "forbid" and pin.where is None]
    for string in (6, 5, 4):
        for fret in range(HIGHEST_FRET + 1):
            midi = open_midi(setup.strings_midi, string) + setup.capo + fret
            if midi % 12 == tone and not any(p.meets(string, fret, min(fret, 4)) for p in never):
                yield fret, -string, midi


def _struck(note: TabNote, beats: list[Fraction], end: Fraction) -> list[TabNote]:
    """A bass note on every beat, ringing to the next."""
    stops = [*beats[1:], end]
    return [
        replace(note, part="bass", pluck="p", start=start, length=stop - start)
        for start, stop in zip(beats, stops, strict=True)
    ]
