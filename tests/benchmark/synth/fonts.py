"""Task: play the strokes with sampled instruments: fluidsynth and a General MIDI sound font.

In: strokes, program number (from 0), sound font. Out: float32 mono audio at 44100 Hz.
Method: a Standard MIDI File by mido with one tick per millisecond, channels in turn so that every
    stroke has its own pitch bend; rendered by the fluidsynth command without reverb and chorus.
    Sampled instruments speak late by up to 25 ms: their onsets are known to that only.
References: General MIDI Level 1 program numbers; Debian packages fluidsynth,
    timgm6mb-soundfont, fluid-soundfont-gm.
"""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tests.benchmark.playing import Stroke

FONTS = {
    "timgm": Path("/usr/share/sounds/sf2/TimGM6mb.sf2"),
    "fluid": Path("/usr/share/sounds/sf2/FluidR3_GM.sf2"),
}
RATE = 44_100
CHANNELS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15)


def sampled(strokes: Sequence[Stroke], seconds: float, program: int, font: str) -> np.ndarray:
    """Render; raises FileNotFoundError when the font or fluidsynth is not installed."""
    if not FONTS[font].exists():
        raise FileNotFoundError(f"install the Debian package that has {FONTS[font]}")
    with tempfile.TemporaryDirectory() as folder:
        midi, wav = Path(folder, "a.mid"), Path(folder, "a.wav")
        _midi_file(strokes, program).save(midi)
        subprocess.run(
            ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-g", "0.8", "-r", str(RATE),
             "-F", str(wav), str(FONTS[font]), str(midi)],
            check=True, capture_output=True,
        )  # fmt: skip
        import soundfile

        audio, _ = soundfile.read(wav, dtype="float32")
    mono = audio.mean(axis=1)
    length = int(seconds * RATE)
    return np.pad(mono, (0, max(length - len(mono), 0)))[:length]


def _midi_file(strokes: Sequence[Stroke], program: int):  # type: ignore[no-untyped-def]
    import mido

    events: list[tuple[int, int, mido.Message]] = []
    for channel in CHANNELS:
        events.append((0, 0, mido.Message("program_change", channel=channel, program=program)))
    for number, stroke in enumerate(strokes):
        channel = CHANNELS[number % len(CHANNELS)]
        start, end = round(stroke.onset_s * 1000), round(stroke.offset_s * 1000)
        note = round(stroke.midi)
        bend = int(np.clip((stroke.midi - note) / 2 * 8192, -8192, 8191))
        velocity = int(np.clip(95 * stroke.loudness * (0.8 if stroke.slurred else 1.0), 20, 120))
        on = mido.Message("note_on", channel=channel, note=note, velocity=velocity)
        off = mido.Message("note_off", channel=channel, note=note)
        bent = mido.Message("pitchwheel", channel=channel, pitch=bend)
        events += [(max(start - 1, 0), 1, bent), (start, 2, on), (max(end, start + 15), 0, off)]
    track = mido.MidiTrack()
    now = 0
    for time, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=time - now))
        now = time
    file = mido.MidiFile(ticks_per_beat=500)  # 120 to the minute: a tick is a millisecond
    file.tracks.append(track)
    return file
