"""Tune, heard notes or layer -> Standard MIDI File.

Task     write what is heard as MIDI: repeats taken, every note as long as it rings
In       Tune; for a layer its Arrangement
Out      the bytes of a format 1 file: a track of tempo, metre, key and part names, then one track
         per voice
Method   bars are laid end to end in playing order; a pick-up sounds in the bar that it belongs to,
         so that the bar lines of any sequencer fall right. Irregular bars get a metre of their
         own. Rhythm is as written; the swing of the tune only when asked for.
References  Standard MIDI Files 1.0; General MIDI programs 25 (steel-string guitar), 73 (flute),
            counted from 0.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor

import mido

from liltwright import keys
from liltwright.tab import Arrangement
from liltwright.tune import KeyName, Tune
from liltwright.write.sheet.bars import Sheet, SheetBar
from liltwright.write.sheet.layout import PERFORMANCE, sheet_of_layer, sheet_of_tune
from liltwright.write.sheet.timing import bar_spans, clock_of
from liltwright.write.sheet.voices import VOICE_NAMES, SheetNote

TICKS_A_QUARTER = 960  # divided by every tuplet that is written
STEEL_GUITAR, FLUTE = 25, 73  # programs counted from 0 (General MIDI)
_VELOCITY = {"p": 52, "mp": 66, "mf": 80, "f": 98}  # of a note's strike, 0 to 127
_SOFTER = {"melody": 0, "bass": 8, "inner": 16}  # velocity less than the melody's
_BEND_SEMITONES = 2.0
"""Range of the pitch wheel that General MIDI instruments start with."""


Placing = Callable[[Fraction], int]
"""Ticks after its bar line at which a position of a bar sounds."""


@dataclass(frozen=True, slots=True)
class _Played:
    """One bar in playing order; positions are fractions of a whole note from the first bar line."""

    bar: SheetBar
    line: Fraction
    """Where the bar line is; for a pick-up, where its full bar's would be."""
    start: Fraction
    end: Fraction


def tune_to_midi(tune: Tune, *, swing: bool = False) -> bytes:
    """One round of the plain tune."""
    sheet = sheet_of_tune(tune)
    return _file(tune, sheet, _in_order(tune, sheet), FLUTE, swing)


def layer_to_midi(tune: Tune, arrangement: Arrangement, name: str, *, swing: bool = False) -> bytes:
    """One round of a layer, or the whole "performance".

    Raises UsageError when there is no such layer.
    """
    sheet = sheet_of_layer(tune, arrangement, name)
    if name == PERFORMANCE:
        played = _end_to_end(sheet)
    else:
        played = _in_order(tune, sheet)
    return _file(tune, sheet, played, STEEL_GUITAR, swing)


def heard_to_midi(tune: Tune) -> bytes:
    """The notes as performed, unquantised, pitches to the cent by pitch bend; 960 ticks a second.

    Concert pitch is A = 440 Hz: what the recording differs from it is left out.
    """
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=tune.title or tune.source.file))
    track.append(mido.MetaMessage("set_tempo", tempo=500_000))
    track.append(mido.Message("program_change", program=FLUTE))
    now = bend = 0
    for note in tune.heard:
        nearest = min(max(round(note.midi), 0), 127)
        wheel = max(-8192, min(8191, round((note.midi - nearest) / _BEND_SEMITONES * 8192)))
        start = max(now, round(note.onset_s * TICKS_A_QUARTER))
        end = max(start + 1, round(note.offset_s * TICKS_A_QUARTER))
        if wheel != bend:
            track.append(mido.Message("pitchwheel", pitch=wheel, time=start - now))
            now, bend = start, wheel
        velocity = max(1, min(127, round(40 + 60 * note.confidence)))
        track.append(mido.Message("note_on", note=nearest, velocity=velocity, time=start - now))
        track.append(mido.Message("note_off", note=nearest, velocity=0, time=end - start))
        now = end
    return _bytes([track], TICKS_A_QUARTER // 2)


# ---------------------------------------------------------------- playing order


def _in_order(tune: Tune, sheet: Sheet) -> list[_Played]:
    order = list(tune.performed_order())
    spans = bar_spans(tune, order)
    return _laid([(sheet.bars[index], *span) for index, span in zip(order, spans, strict=True)])


def _end_to_end(sheet: Sheet) -> list[_Played]:
    return _laid([(bar, bar.offset, bar.offset + bar.length) for bar in sheet.bars])


def _laid(bars: Sequence[tuple[SheetBar, Fraction, Fraction]]) -> list[_Played]:
    played = []
    now = bars[0][1] if bars else Fraction(0)
    for bar, first, last in bars:
        line = now - first
        played.append(_Played(bar, line, now, line + last))
        now = line + last
    return played


# ---------------------------------------------------------------- tracks


def _file(tune: Tune, sheet: Sheet, played: Sequence[_Played], program: int, swing: bool) -> bytes:
    tracks = [_conductor(tune, sheet, played)]
    place = _swung(tune) if swing and tune.swing != 1 else _straight
    used = {note.voice for one in played for note in one.bar.sounding}
    for channel, name in enumerate(VOICE_NAMES):
        if name in used or name == "melody":
            notes = _notes_of(played, name, place)
            tracks.append(_voice_track(notes, name, channel, program))
    return _bytes(tracks, TICKS_A_QUARTER)


def _conductor(tune: Tune, sheet: Sheet, played: Sequence[_Played]) -> mido.MidiTrack:
    tempo = round(60e6 / (float(sheet.beat * 4) * sheet.beats_per_minute))
    key = f"{sheet.key.tonic} {sheet.key.mode}"
    about = f"{sheet.tune_type} in {sheet.meter}, {key}, beat {sheet.beat}"
    events: list[tuple[int, mido.MetaMessage]] = [
        (0, mido.MetaMessage("track_name", name=sheet.title)),
        (0, mido.MetaMessage("text", text=about)),
        (0, mido.MetaMessage("set_tempo", tempo=max(1, min(tempo, 0xFFFFFF)))),
        (0, mido.MetaMessage("key_signature", key=_midi_key(sheet.key, sheet.signature))),
        *_meters(sheet, played),
    ]
    for one in played:
        if one.bar.part:
            events.append((_ticks(one.start), mido.MetaMessage("marker", text=one.bar.part)))
        if one.bar.ending:
            times = ",".join(str(time) for time in one.bar.ending)
            events.append((_ticks(one.start), mido.MetaMessage("marker", text=f"ending {times}")))
        if one.bar.heading:
            events.append((_ticks(one.line), mido.MetaMessage("cue_marker", text=one.bar.heading)))
    return _track(events, end=_ticks(played[-1].end) if played else 0)


def _meters(sheet: Sheet, played: Sequence[_Played]) -> Iterable[tuple[int, mido.MetaMessage]]:
    """A metre at the start and wherever the length of the bars changes."""
    current = Fraction(0)
    counted, unit = (int(number) for number in sheet.meter.split("/"))
    index = 0
    while index < len(played):
        one = played[index]
        start, end = (one.line if index == 0 else one.start), one.end
        following = played[index + 1] if index + 1 < len(played) else None
        pickup = following is not None and following.bar.offset > 0
        if following is not None and pickup and following.end - start == sheet.full:
            end = following.end
            index += 1
        if end - start != current:
            current = end - start
            length = current if current != sheet.full else None
            meter = (counted, unit) if length is None else (length.numerator, length.denominator)
            if meter[1] & (meter[1] - 1) == 0 and meter[0] < 256:
                yield (
                    _ticks(start),
                    mido.MetaMessage("time_signature", numerator=meter[0], denominator=meter[1]),
                )
        index += 1


def _notes_of(
    played: Sequence[_Played], name: str, place: Placing
) -> list[tuple[int, int, int, int]]:
    """Start and end in ticks, pitch and velocity of every note of a voice, by start."""
    found = []
    velocity = _VELOCITY["mf"]
    for one in played:
        velocity = _VELOCITY.get(one.bar.dynamic, velocity)
        waits: dict[Fraction, Fraction] = {}  # a grace note sounds on the beat
        for note in sorted(one.bar.sounding, key=lambda note: not note.grace):
            if note.voice == name:
                wait = min(waits.get(note.start, Fraction(0)), note.length / 2)
                found.append(_timed(note, wait, one, velocity - _SOFTER[name], place))
                if note.grace:
                    waits[note.start] = waits.get(note.start, Fraction(0)) + note.length
    found.sort()
    again: dict[int, int] = {}  # a string struck again ends the note of the same pitch before
    for index in range(len(found) - 1, -1, -1):
        start, end, midi, loud = found[index]
        found[index] = (start, max(start + 1, min(end, again.get(midi, end))), midi, loud)
        again[midi] = start
    return found


def _timed(
    note: SheetNote, wait: Fraction, one: _Played, velocity: int, place: Placing
) -> tuple[int, int, int, int]:
    start = one.bar.offset + note.start
    base = _ticks(one.line)
    end = start + note.length + (wait if note.grace else 0)
    return base + place(start + wait), base + place(end), note.midi, velocity


def _straight(position: Fraction) -> int:
    return _ticks(position)


def _swung(tune: Tune) -> Placing:
    """Positions moved by the tune's swing, as the sound of it has them."""
    clock = clock_of(tune)
    seconds_a_whole = 60.0 / clock.beats_per_minute / float(clock.beat)
    return lambda position: round(clock.seconds(position) / seconds_a_whole * 4 * TICKS_A_QUARTER)


def _voice_track(
    notes: Sequence[tuple[int, int, int, int]], name: str, channel: int, program: int
) -> mido.MidiTrack:
    events: list[tuple[int, int, mido.Message | mido.MetaMessage]] = [
        (0, 0, mido.MetaMessage("track_name", name=name)),
        (0, 0, mido.Message("program_change", channel=channel, program=program)),
    ]
    for start, end, midi, velocity in notes:
        on = mido.Message("note_on", channel=channel, note=midi, velocity=velocity)
        off = mido.Message("note_off", channel=channel, note=midi, velocity=0)
        events += [(start, 2, on), (end, 1, off)]
    events.sort(key=lambda event: event[:2])
    return _track([(tick, message) for tick, _, message in events])


def _track(
    events: Iterable[tuple[int, mido.Message | mido.MetaMessage]], end: int = 0
) -> mido.MidiTrack:
    """Messages at absolute ticks as a track."""
    track = mido.MidiTrack()
    now = 0
    for tick, message in sorted(events, key=lambda event: event[0]):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, end - now)))
    return track


def _ticks(position: Fraction) -> int:
    return floor(position * 4 * TICKS_A_QUARTER + Fraction(1, 2))


def _midi_key(key: KeyName, signature: int) -> str:
    """MIDI knows major and minor only: the signature as a minor key where the third is minor."""
    steps = keys.scale_steps(key.mode)
    minor = steps[2] == 3
    for tonic in ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#",
                  "G#", "D#", "A#"):  # fmt: skip
        if keys.signature_of(tonic, "minor" if minor else "major") == signature:
            return tonic + ("m" if minor else "")
    return "C"


def _bytes(tracks: Sequence[mido.MidiTrack], ticks_a_quarter: int) -> bytes:
    out = io.BytesIO()
    mido.MidiFile(
        type=1, ticks_per_beat=ticks_a_quarter, charset="utf-8", tracks=list(tracks)
    ).save(file=out)
    return out.getvalue()
