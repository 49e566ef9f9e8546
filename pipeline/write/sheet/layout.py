"""The flat list of bars that every writer of notes shares.

Task     lay a tune, a layer or a performance out as it is printed
In       Tune; for a layer its Arrangement
Out      Sheet: bars in the order of the page with voices, ties, repeats, endings and pick-ups
Method   The last bar of a part is printed short by the pick-up that follows when its notes leave
         the room. In a performance, where nothing is repeated, such a bar and the pick-up are
         one bar. Note values are found by voices.py.
"""

from __future__ import annotations

from liltwright import keys
from liltwright.errors import UsageError
from liltwright.tab import Arrangement, Setup
from liltwright.tune import KeyName, ScoreNote, Tune
from liltwright.write.sheet.bars import Sheet
from liltwright.write.sheet.performed import performed_bars
from liltwright.write.sheet.printed import printed_bars
from liltwright.write.sheet.voices import SheetNote

PERFORMANCE = "performance"


def sheet_of_tune(tune: Tune) -> Sheet:
    """The plain tune as a tune book prints it."""
    bars = [tuple(_plain(note) for note in bar.notes) for bar in tune.written_bars()]
    chords = [(chord.bar, chord.start, chord.symbol) for chord in tune.chords_typed]
    return Sheet(
        name="tune",
        title=tune.title,
        tune_type=tune.tune_type,
        meter=tune.meter,
        beat=tune.beat,
        beats_per_minute=tune.beats_per_minute,
        key=KeyName(tune.tonic, tune.mode),
        signature=tune.signature,
        swing=tune.swing,
        bars=printed_bars(tune, bars, chords),
    )


def sheet_of_layer(tune: Tune, arrangement: Arrangement, name: str) -> Sheet:
    """A layer, or the "performance" with its rounds one after another.

    Raises UsageError when the arrangement has no such layer.
    """
    if name == PERFORMANCE:
        bars = performed_bars(tune, arrangement)
    else:
        try:
            layer = arrangement.layer(name)
        except KeyError:
            have = ", ".join(layer.name for layer in arrangement.layers)
            raise UsageError(f'There is no layer "{name}" here; there are {have}.') from None
        notes = [tuple(SheetNote.of_tab(note) for note in bar) for bar in layer.bars]
        chords = [(chord.bar, chord.start, chord.symbol) for chord in layer.chords]
        bars = printed_bars(tune, notes, chords)
    setup = arrangement.setup
    return Sheet(
        name=name,
        title=arrangement.title or tune.title,
        tune_type=tune.tune_type,
        meter=tune.meter,
        beat=tune.beat,
        beats_per_minute=arrangement.beats_per_minute,
        key=setup.sounds_in,
        signature=_signature(tune, setup),
        swing=tune.swing,
        bars=bars,
        setup=setup,
        cautions=arrangement.cautions,
    )


def _signature(tune: Tune, setup: Setup) -> int:
    """Of the sounding key, keeping what the tune's own signature differs from its mode's."""
    odd = tune.signature - keys.signature_of(tune.tonic, tune.mode)
    signature = keys.signature_of(setup.sounds_in.tonic, setup.sounds_in.mode)
    return max(-7, min(7, signature + (odd if abs(odd) <= 2 else 0)))


def _plain(note: ScoreNote) -> SheetNote:
    return SheetNote(note.midi, note.start, note.length, ornament=note.ornament)


# ---------------------------------------------------------------- with repeat signs


# ---------------------------------------------------------------- written out
