"""Practice material: the recording slowed at pitch, loops cut at bar lines, tracks of the layers.

Task: sound to practise with.
In:   the recording's samples and its Tune; an Arrangement.
Out:  samples, or files by name.
Method: the recording is slowed by the Signalsmith stretch library (python-stretch, MIT) with a
    block of about ten periods of the lowest note. Measured on plucked notes at 60 %: attacks rise
    in 5 ms (12 ms with the library's usual block of 120 ms) and stay within 3 ms of their place,
    where a time-domain stretch (WSOLA) keeps a 1 ms attack but moves it by 8 ms and strikes some
    notes twice. Layers are not stretched at all but played slower by the synthesiser.
References: Signalsmith Audio, design of the stretch library. The pulse, count-in and slow
    steps are common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

import numpy as np

from liltwright.errors import UsageError
from liltwright.tab import Arrangement
from liltwright.tune import HeardBar, Tune
from liltwright.units import midi_to_hz
from liltwright.write.sound.encode import AudioKind, encode_audio
from liltwright.write.sound.synth import add_ticks, heard_melody_audio, layer_audio

SPEEDS = (0.6, 0.75, 0.9, 1.0)  # of the tracks, as shares of the arrangement's
SLOWEST, FASTEST = 0.25, 1.5  # as a share of the recorded speed
_EDGE_S = 0.008  # fade at the edges of a loop, against clicks
_NTH = {1: "first", 2: "second", 3: "third", 4: "fourth"}


@dataclass(frozen=True, slots=True)
class Loop:
    """A stretch of the recording between two bar lines, to be heard again and again."""

    name: str
    first_bar: int
    """Performed full bars count from 1."""
    last_bar: int
    start_s: float
    end_s: float


def slowed(
    samples: np.ndarray, sample_rate: int, speed: float, *, lowest_midi: float = 50.0
) -> np.ndarray:
    """The samples at another speed and the same pitch.

    samples : shape (n,). speed : 0.5 takes twice as long. lowest_midi : lowest note in them.
    Raises UsageError for a speed outside 0.25 to 1.5.
    """
    if not SLOWEST <= speed <= FASTEST:
        raise UsageError(
            f"cannot play at {speed:.0%} of the speed: choose {SLOWEST:.0%} to {FASTEST:.0%}."
        )
    if speed == 1.0 or not len(samples):
        return samples.astype(np.float32)
    from python_stretch import Signalsmith

    block_s = float(np.clip(10.0 / midi_to_hz(lowest_midi), 0.05, 0.09))
    stretch = Signalsmith.Stretch()
    stretch.configure(1, int(block_s * sample_rate), int(block_s * sample_rate / 4))
    stretch.setTimeFactor(speed)
    out = np.asarray(stretch.process(samples.astype(np.float32)[None]), np.float32)
    return np.clip(out[0], -1.0, 1.0)


def full_bars(tune: Tune) -> tuple[HeardBar, ...]:
    """The bars heard without an incomplete pick-up bar at the start: bar 1, bar 2 ..."""
    bars = tune.bars_heard
    if len(bars) < 2:
        return bars
    usual_s = median(bar.end_s - bar.start_s for bar in bars)
    return bars[1:] if bars[0].end_s - bars[0].start_s < 0.8 * usual_s else bars


def part_loops(tune: Tune) -> tuple[Loop, ...]:
    """One loop for every part as it was played, named like "A, second time, round 1"."""
    heard = full_bars(tune)
    written = tune.written_bars()
    once = [written[index].part for index in tune.performed_order() if written[index].number]
    if not heard or not once:
        return ()
    loops: list[Loop] = []
    first = 0
    while first < len(heard):
        place = first % len(once)
        part = once[place]
        per_time = _bars_per_time(tune, part)
        time = 1 + (place - once.index(part)) // per_time
        last = min(first + per_time, len(heard))
        name = f"{tune.parts[part].name}, {_NTH.get(time, f'{time}th')} time"
        if len(heard) > len(once):
            name += f", round {1 + first // len(once)}"
        loops.append(_loop(heard, name, first + 1, last))
        first = last
    return tuple(loops)


def _bars_per_time(tune: Tune, part: int) -> int:
    ending = tune.parts[part].endings
    return max(len(tune.parts[part].bars) + (len(ending[0].bars) if ending else 0), 1)


def bar_loop(tune: Tune, first_bar: int, last_bar: int) -> Loop:
    """The loop over performed bars `first_bar` to `last_bar`, counted from 1.

    Raises UsageError when the recording has no such bars.
    """
    heard = full_bars(tune)
    if not 1 <= first_bar <= last_bar <= len(heard):
        raise UsageError(
            f"bars {first_bar} to {last_bar} are not in the recording: it has bars 1 to "
            f"{len(heard)}."
        )
    return _loop(heard, f"bars {first_bar} to {last_bar}", first_bar, last_bar)


def _loop(heard: tuple[HeardBar, ...], name: str, first: int, last: int) -> Loop:
    return Loop(name, first, last, heard[first - 1].start_s, heard[last - 1].end_s)


def loop_audio(
    samples: np.ndarray,
    sample_rate: int,
    tune: Tune,
    loop: Loop,
    *,
    speed: float = 1.0,
    times: int = 1,
    count_in: bool = True,
) -> np.ndarray:
    """A loop of the recording at a speed, played `times` times, after one bar counted in."""
    cut = samples[round(loop.start_s * sample_rate) : round(loop.end_s * sample_rate)]
    lowest = min((n.midi for n in tune.heard if n.role == "note"), default=50.0)
    piece = _soft_edges(slowed(cut, sample_rate, speed, lowest_midi=lowest), sample_rate)
    out = np.tile(piece, max(times, 1))
    if not count_in:
        return out
    beats = max(int(tune.bar_length / tune.beat), 1)
    bars = loop.last_bar - loop.first_bar + 1
    beat_s = (loop.end_s - loop.start_s) / bars / beats / speed
    lead = np.zeros(round(beats * beat_s * sample_rate), np.float32)
    add_ticks(lead, [beat * beat_s for beat in range(beats)], first=0, loud=0.2, rate=sample_rate)
    return np.concatenate([lead, out])


def _soft_edges(samples: np.ndarray, sample_rate: int) -> np.ndarray:
    """A copy that begins and ends in silence, so that a loop does not click."""
    edge = min(int(_EDGE_S * sample_rate), len(samples) // 2)
    out = samples.copy()
    ramp = np.linspace(0.0, 1.0, edge, dtype=np.float32)
    out[:edge] *= ramp
    out[len(out) - edge :] *= ramp[::-1]
    return out


def melody_against_recording(tune: Tune, samples: np.ndarray, sample_rate: int) -> np.ndarray:
    """Left ear the recording, right ear the tune as written down; shape (n, 2), same rate.

    Raises UsageError when the tune was not heard in a recording.
    """
    if not tune.bars_heard:
        raise UsageError("this tune was not heard in a recording: there is nothing to compare.")
    from liltwright.write.sound.pluck import SAMPLE_RATE

    melody = heard_melody_audio(tune)
    at = np.arange(len(samples)) * (SAMPLE_RATE / sample_rate)
    right = np.interp(at, np.arange(len(melody)), melody, right=0.0)
    left = samples / max(float(np.abs(samples).max(initial=0.0)), 1e-6) * 0.8
    return np.stack([left, right / max(float(np.abs(right).max()), 1e-6) * 0.8], axis=1).astype(
        np.float32
    )


def practice_files(
    tune: Tune,
    arrangement: Arrangement,
    stem: str,
    *,
    speeds: tuple[float, ...] = SPEEDS,
    kind: AudioKind = "ogg",
) -> dict[str, bytes]:
    """Every layer at every speed with count-in and pulse: "STEM-LAYER-75.ogg" and so on."""
    files = {}
    for layer in arrangement.layers:
        for speed in speeds:
            sound = layer_audio(tune, arrangement, layer.name, tempo=speed, click=True)
            name = f"{stem}-{layer.name}-{round(100 * speed)}.{kind}"
            files[name] = encode_audio(sound.samples, sound.sample_rate, kind)
    return files
