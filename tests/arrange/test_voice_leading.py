"""The moving bass under the melody, counted by music21's voice-leading objects.

music21.voiceLeading.VoiceLeadingQuartet finds parallel fifths, octaves and unisons, voice
crossing; interval.Interval the leaps. Melody and bass are taken on successive main beats.
"""

from itertools import pairwise

import pytest
from music21 import interval, note, pitch, voiceLeading

from liltwright.arrange.layers import arrange_layers
from liltwright.bassbeats import pulse_of
from liltwright.tab import Layer, TabNote
from liltwright.tune import Tune
from tests.arrange.samples import OWN, RYAN, own, ryan, somewhere

TUNES = [own(name) for name in OWN] + [ryan(name) for name in RYAN[:4]]


def on_beats(tune: Tune, layer: Layer) -> list[tuple[int, int] | None]:
    """Melody and bass on each main beat of one round; None where one of them rests."""
    found: list[tuple[int, int] | None] = []
    written = tune.written_bars()
    for index in tune.performed_order():
        if written[index].kind == "pickup":
            continue
        for beat in (b for b in pulse_of(tune).main if b < written[index].length):

            def sounds(part: str, index: int = index, beat: object = beat) -> TabNote | None:
                notes = [n for n in layer.bars[index] if n.part == part]
                return next((n for n in notes if n.start <= beat < n.start + n.length), None)  # type: ignore[operator]

            melody, bass = sounds("melody"), sounds("bass")
            found.append((melody.midi, bass.midi) if melody and bass else None)
    return found


def quartet(one: tuple[int, int], two: tuple[int, int]) -> voiceLeading.VoiceLeadingQuartet:
    melody = [note.Note(pitch.Pitch(midi=pair[0])) for pair in (one, two)]
    bass = [note.Note(pitch.Pitch(midi=pair[1])) for pair in (one, two)]
    return voiceLeading.VoiceLeadingQuartet(*melody, *bass)


@pytest.fixture(scope="module")
def quartets() -> list[voiceLeading.VoiceLeadingQuartet]:
    found = []
    for tune in TUNES:
        layer = arrange_layers(tune, somewhere(tune)).layer("moving-bass")
        beats = on_beats(tune, layer)
        found += [quartet(a, b) for a, b in pairwise(beats) if a and b]
    assert len(found) > 300
    return found


def test_parallel_octaves_and_fifths_are_rare(
    quartets: list[voiceLeading.VoiceLeadingQuartet],
) -> None:
    parallels = [one for one in quartets if one.parallelFifth() or one.parallelOctave()]
    bars = len(quartets) / 2
    assert len(parallels) <= bars / 32


def test_the_voices_never_cross(quartets: list[voiceLeading.VoiceLeadingQuartet]) -> None:
    assert not any(one.voiceCrossing() for one in quartets)


def test_the_bass_makes_no_augmented_leaps() -> None:
    """Augmented and diminished by music21's interval, with notes spelled by the key; a diminished
    fifth may stand where the scale has one."""
    from liltwright.keys import note_name, signature_of

    leaps = wrong = 0
    for tune in TUNES:
        setup = somewhere(tune)
        signature = signature_of(setup.sounds_in.tonic, setup.sounds_in.mode)
        layer = arrange_layers(tune, setup).layer("moving-bass")
        row = [n.midi for bar in layer.bars for n in bar if n.part == "bass"]
        for a, b in pairwise(row):
            ends = [
                pitch.Pitch(note_name(m, signature, octave=True).replace("b", "-")) for m in (a, b)
            ]
            found = interval.Interval(*ends)
            leaps += 1
            wrong += found.simpleName.startswith(("A", "d")) and abs(a - b) > 2
    assert leaps > 300
    assert wrong / leaps < 0.02
