"""Task: band recordings with their truth: a lead of one to three players over an accompaniment.

In: a split, a number. Out: Mixture: samples (n, 2) at 44.1 kHz and the truth as a Tune (or two).
Method: the lead is a performance of tests.benchmark.performer played by FluidR3 (a sound font that
    nothing here was trained with); further players repeat its plain notes in unison or an octave
    apart with their own timing, leave notes out and decorate others. The accompaniment knows the
    tune's bars and key only: of the primary triads of the mode each half bar takes the one with
    most of the melody in it (the collections print no chords). Guitar, bouzouki-like arpeggios,
    piano vamp, accordion chords, bass, drone and drums are independent of the patterns that the
    band's ear was trained with.
References: primary triads and "boom-chuck" accompaniment: common practice.
"""

from __future__ import annotations

import subprocess
import tempfile
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from liltwright.keys import pitch_class
from liltwright.tune import Tune
from tests.benchmark.collections import CollectedTune, Split, tunes
from tests.benchmark.manners import Family
from tests.benchmark.performer import perform
from tests.benchmark.playing import Performance, Stroke
from tests.benchmark.synth.fonts import FONTS, RATE, _midi_file

LEADS: tuple[tuple[Family, int], ...] = (
    ("fiddle", 40), ("flute", 73), ("whistle", 72), ("accordion", 21), ("plucked", 105),
    ("fiddle", 110), ("recorder", 74),
)  # fmt: skip
SECOND = {"unison": (40, 73, 21, 71, 22), "octave": (40, 73, 105, 68, 24)}
LEVELS_DB = (0.0, 3.0, 6.0)
GROUPS = ("one", "unison", "one", "octave")
BACKINGS = (("guitar",), ("guitar", "drum"), ("piano", "bass"), ("bouzouki",), ("guitar", "bass"),
            ("accordion", "drum"), ("bouzouki", "guitar", "drum"), ("piano", "drum"),
            ("drone", "bouzouki"))  # fmt: skip
TRIADS = {"major": (0, 5, 7, 9), "mixolydian": (0, 10, 5), "dorian": (0, 10, 5, 3),
          "minor": (0, 10, 8, 3, 7)}  # fmt: skip
MINOR_ON = {"major": (9, 2, 4), "mixolydian": (7, 2), "dorian": (0, 7, 2), "minor": (0, 5, 7)}


@dataclass(frozen=True, slots=True)
class Mixture:
    """A mixture and what is in it. `tunes` has one truth a tune, in order."""

    name: str
    samples: np.ndarray
    rate: int
    tunes: tuple[Tune, ...]
    group: str
    backing: tuple[str, ...]
    lead_db: float
    change_s: float | None = None
    """Where the second tune begins."""
    octave: int = 0
    """Semitones from the leader, whose notes are the truth, to the other players."""


def mixture(
    split: Split,
    number: int,
    *,
    longest_s: float = 45.0,
    tunes_in: int = 1,
    font: str = "fluid",
    side: float | None = None,
) -> Mixture:
    """The mixture with this number; the same number gives the same samples.

    font : of FONTS; "fluid" is kept for measuring
    side : where the lead stands, 0 left to 1 right, the rest on the other side; None: even numbers
           in the middle, odd ones to the right
    """
    rng = np.random.default_rng([number, 22, len(split)])
    family, program = LEADS[number % len(LEADS)]
    group, backing = GROUPS[(number // 2) % 4], BACKINGS[number % len(BACKINGS)]
    lead_db = LEVELS_DB[number % 3]
    performances: list[Performance] = []
    shift_s = float(rng.uniform(0.2, 0.6))
    intro = number % 3 == 1
    for which in range(tunes_in):
        item = _pick(split, rng, performances)
        done = perform(item.tune, family, seed=number * 10 + which, longest_s=longest_s,
                       rounds=None if tunes_in == 1 else 2)  # fmt: skip
        bar_s = _bar_s(done.truth)
        start_s = _first_line(done.truth)
        if which == 0:
            move = (shift_s + (4 * bar_s if intro else 0.0)) - done.truth.heard[0].onset_s
        else:
            move = performances[-1].truth.bars_heard[-1].end_s - start_s
        performances.append(_moved(done, move))
    # a player finishes his tune before the next: strokes of the first end where the next begins
    end_s = max(p.strokes[-1].offset_s for p in performances) + 1.0
    lead, octave = _group(rng, performances, program, group, end_s, font)
    rest = [_part(rng, kind, performances, end_s, intro, font) for kind in backing]  # each (n,)
    mixed = _mixed(rng, lead, rest, lead_db, stereo=number % 2 == 1, side=side)
    change = _first_line(performances[1].truth) if tunes_in > 1 else None
    return Mixture(
        f"{split}-{number}", mixed, RATE, tuple(p.truth for p in performances), group, backing,
        lead_db, change, octave,
    )  # fmt: skip


def _pick(split: Split, rng: np.random.Generator, before: list[Performance]) -> CollectedTune:
    """A dance tune; the second of a set in another key or of another type."""
    while True:
        item = _dances(split)[int(rng.integers(len(_dances(split))))]
        if not before:
            return item
        first = before[0].truth
        if first.tonic != item.tune.tonic or first.tune_type != item.tune.tune_type:
            return item


@cache
def _dances(split: Split) -> tuple[CollectedTune, ...]:
    kinds = ("jig", "reel", "hornpipe", "slip jig", "polka", "waltz")
    return tuple(one for one in tunes(split) if one.tune.tune_type in kinds)


def _moved(done: Performance, seconds: float) -> Performance:
    truth = done.truth
    heard = tuple(
        replace(n, onset_s=n.onset_s + seconds, offset_s=n.offset_s + seconds) for n in truth.heard
    )
    bars = tuple(
        replace(b, start_s=b.start_s + seconds, end_s=b.end_s + seconds) for b in truth.bars_heard
    )
    strokes = tuple(
        replace(s, onset_s=s.onset_s + seconds, offset_s=s.offset_s + seconds) for s in done.strokes
    )
    return replace(done, truth=replace(truth, heard=heard, bars_heard=bars), strokes=strokes,
                   duration_s=done.duration_s + seconds)  # fmt: skip


def _bar_s(truth: Tune) -> float:
    return float(np.median([b.end_s - b.start_s for b in truth.bars_heard]))


def _first_line(truth: Tune) -> float:
    """The first full bar line."""
    first = truth.bars_heard[0]
    short = first.notes and first.notes[0].start > 0
    return truth.bars_heard[1].start_s if short and len(truth.bars_heard) > 1 else first.start_s


# ---------------------------------------------------------------- lead


def _group(
    rng: np.random.Generator,
    done: list[Performance],
    program: int,
    group: str,
    end_s: float,
    font: str,
) -> tuple[np.ndarray, int]:
    """The sound of all who play the line, and the octave of those who follow."""
    strokes = [s for p in done for s in p.strokes]
    sound = _play(strokes, program, end_s, font)
    if group == "one":
        return sound, 0
    octave = {"unison": 0, "octave": -12}[group]
    lows = min(s.midi for s in strokes)
    if group == "octave" and lows - 12 < 48:
        octave = 12
    for other in rng.choice(SECOND[group], 1 if group == "octave" else int(rng.integers(1, 3)),
                            replace=False):  # fmt: skip
        mine = _heterophony(rng, done, octave)
        sound = sound + _play(mine, int(other), end_s, font) * 10 ** (rng.uniform(-3, 3) / 20)
    return sound, octave


def _heterophony(rng: np.random.Generator, done: list[Performance], octave: int) -> list[Stroke]:
    """The plain notes by another player."""
    late = rng.normal(0, 0.008)
    out: list[Stroke] = []
    for p in done:
        offset = p.truth.tuning_offset_cents / 100
        for note in p.truth.heard:
            if note.role != "note" or rng.random() < 0.03:
                continue
            onset = max(note.onset_s + late + rng.normal(0, 0.008), 0.0)
            end = max(note.offset_s + late - rng.uniform(0, 0.02), onset + 0.04)
            midi = round(note.midi) + offset + octave + rng.normal(0, 0.04)
            if rng.random() < 0.08 and end - onset > 0.12:
                out.append(Stroke(onset, onset + 0.045, midi + 2, 0.8))
                onset += 0.045
            out.append(Stroke(onset, end, midi, float(rng.uniform(0.75, 1.0))))
    return out


# ---------------------------------------------------------------- accompaniment


def _chords(truth: Tune) -> list[tuple[float, float, int, int]]:
    """(start, end, root, third) per half bar (a whole bar of three beats)."""
    tonic = pitch_class(truth.tonic)
    out: list[tuple[float, float, int, int]] = []
    halves = 1 if truth.meter in ("3/4", "9/8", "2/4") else 2
    for bar in truth.bars_heard:
        if bar.notes and bar.notes[0].start > 0:
            continue
        for half in range(halves):
            low = truth.bar_length * half / halves
            high = truth.bar_length * (half + 1) / halves
            tones = [n for n in bar.notes if low <= n.start < high]
            degree = max(
                TRIADS.get(truth.mode, (0, 5, 7)),
                key=lambda d: (
                    sum(float(n.length) for n in tones
                        if (n.midi - tonic - d) % 12 in (0, 7, _third(truth, d))), -d == 0
                ),
            )  # fmt: skip
            width = (bar.end_s - bar.start_s) / halves
            at = bar.start_s + half * width
            out.append((at, at + width, (tonic + degree) % 12, _third(truth, degree)))
    return out


def _third(truth: Tune, degree: int) -> int:
    return 3 if degree in MINOR_ON.get(truth.mode, ()) else 4


def _part(
    rng: np.random.Generator,
    kind: str,
    done: list[Performance],
    end_s: float,
    intro: bool,
    font: str,
) -> np.ndarray:
    strokes: list[Stroke] = []
    drums: list[tuple[float, int, int]] = []
    for number, p in enumerate(done):
        truth = p.truth
        chords = _chords(truth)
        if intro and number == 0:
            first, width = chords[0][0], chords[0][1] - chords[0][0]
            per_bar = round(_bar_s(truth) / width)
            before = [
                (first - k * width, first - (k - 1) * width, chords[0][2], chords[0][3])
                for k in range(4 * per_bar, 0, -1)
            ]
            chords = [c for c in before if c[0] > 0] + chords
        offset = truth.tuning_offset_cents / 100
        beats = {"9/8": 3, "3/4": 3, "2/4": 2}.get(truth.meter, 2)
        for start, end, root, third in chords:
            count = 3 if beats == 3 else 1 if truth.meter != "2/4" else 2
            subs = 3 if truth.meter in ("6/8", "9/8") else 2 if truth.meter != "4/4" else 4
            unit = (end - start) / (count * subs)
            made, hits = _pattern(rng, kind, start, unit, count, subs, root, third)
            strokes += [replace(s, midi=s.midi + offset) for s in made]
            drums += hits
    if kind == "drum":
        return _drummed(drums, end_s, font)
    program = {"guitar": 25, "bouzouki": 105 if rng.random() < 0.3 else 25, "piano": 0,
               "bass": 32, "accordion": 21, "drone": 20}[kind]  # fmt: skip
    return _play(strokes, program, end_s, font)


def _pattern(
    rng: np.random.Generator,
    kind: str,
    start: float,
    unit: float,
    beats: int,
    subs: int,
    root: int,
    third: int,
) -> tuple[list[Stroke], list[tuple[float, int, int]]]:
    """What one instrument does under one chord."""
    low = 40 + (root - 40) % 12
    triad = [low + 12 + step for step in (0, third, 7, 12)]
    out: list[Stroke] = []
    hits: list[tuple[float, int, int]] = []

    def strike(at: float, length: float, midi: float, loud: float) -> None:
        onset = max(at + rng.normal(0, 0.005), 0.0)
        out.append(Stroke(onset, onset + max(length, 0.05), midi, loud))

    for beat in range(beats):
        at = start + beat * subs * unit
        if kind == "guitar":
            strike(at, subs * unit, low, 0.9)
            for sub in range(1, subs):
                if rng.random() < 0.75:
                    for k, midi in enumerate(triad):
                        strike(at + sub * unit + 0.008 * k, unit, midi, 0.55)
        elif kind == "bouzouki":
            order = (0, 2, 3, 2, 1, 2)
            for sub in range(subs):
                strike(at + sub * unit, 1.5 * unit, triad[order[(beat * subs + sub) % 6]], 0.75)
        elif kind == "piano":
            strike(at, unit, low - 12 * (low > 45), 0.85)
            late = at + (subs // 2 if subs != 3 else 2) * unit
            for midi in triad[:3]:
                strike(late, unit, midi, 0.6)
        elif kind == "bass":
            strike(at, subs * unit * 0.9, low - 12 + (7 if beat % 2 else 0), 0.9)
        elif kind == "drum":
            for sub in range(subs):
                if sub == 0 or rng.random() < 0.6:
                    hits.append((at + sub * unit, 41 if sub == 0 else 45, 95 if sub == 0 else 60))
    length = beats * subs * unit
    if kind == "accordion":
        for midi in triad[:3]:
            strike(start, length * 0.95, midi, 0.6)
    if kind == "drone":
        for midi in (low, low + 7):
            strike(start, length, midi, 0.6)
    return out, hits


def _play(strokes: list[Stroke], program: int, seconds: float, font: str) -> np.ndarray:
    ordered = sorted((s for s in strokes if s.onset_s < seconds - 0.1), key=lambda s: s.onset_s)
    return _rendered(_midi_file(ordered, program), seconds, font)


def _drummed(hits: list[tuple[float, int, int]], seconds: float, font: str) -> np.ndarray:
    import mido

    file = mido.MidiFile(ticks_per_beat=500)
    track = mido.MidiTrack()
    events = [(max(t, 0.0), 1, k, v) for t, k, v in hits]
    events += [(max(t, 0.0) + 0.1, 0, k, 0) for t, k, _ in hits]
    now = 0
    for at, on, key, velocity in sorted(events):
        tick = round(at * 1000)
        name = "note_on" if on else "note_off"
        track.append(mido.Message(name, channel=9, note=key, velocity=velocity, time=tick - now))
        now = tick
    file.tracks.append(track)
    return _rendered(file, seconds, font)


def _rendered(file, seconds: float, font: str) -> np.ndarray:  # type: ignore[no-untyped-def]
    import soundfile

    with tempfile.TemporaryDirectory() as folder:
        midi, wav = Path(folder, "a.mid"), Path(folder, "a.wav")
        file.save(midi)
        subprocess.run(
            ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-g", "0.5", "-r", str(RATE),
             "-F", str(wav), str(FONTS[font]), str(midi)],
            check=True, capture_output=True,
        )  # fmt: skip
        audio, _ = soundfile.read(wav, dtype="float32")
    mono = audio.mean(axis=1)
    length = int(seconds * RATE)
    return np.pad(mono, (0, max(length - len(mono), 0)))[:length]


def _mixed(
    rng: np.random.Generator,
    lead: np.ndarray,
    rest: list[np.ndarray],
    lead_db: float,
    stereo: bool,
    side: float | None,
) -> np.ndarray:
    """Lead over the sum of the rest by `lead_db` in power where each sounds, a little room."""
    parts = [part / max(_rms(part), 1e-6) for part in rest]
    gains = [10 ** (rng.uniform(-3, 3) / 20) for _ in parts]
    backing = np.zeros_like(lead)
    for gain, part in zip(gains, parts, strict=True):
        backing = backing + gain * part
    backing = backing / max(_rms(backing), 1e-6) * 10 ** (-lead_db / 20)
    lead = lead / max(_rms(lead), 1e-6)
    drawn = float(rng.uniform(0.15, 0.35)) if stereo else 0.5
    side = drawn if side is None else 1 - side
    left = side * 2 * lead + (1 - side) * 2 * backing
    right = (1 - side) * 2 * lead + side * 2 * backing
    both = np.stack([left, right], axis=1)
    t = np.arange(int(0.5 * RATE)) / RATE
    tail = rng.normal(0, 1, len(t)) * np.exp(-t / 0.08) * 0.02
    from scipy.signal import fftconvolve

    wet = np.stack([fftconvolve(both[:, k], tail)[: len(both)] for k in (0, 1)], axis=1)
    both = both + 0.5 * wet + rng.normal(0, 1e-3, both.shape)
    return np.asarray(0.5 * both / np.abs(both).max(), np.float32)


def _rms(x: np.ndarray) -> float:
    """Where it sounds."""
    blocks = np.square(x[: len(x) // 2048 * 2048].reshape(-1, 2048)).mean(axis=1)
    loud = blocks > 1e-4 * blocks.max(initial=1e-12)
    return float(np.sqrt(blocks[loud].mean())) if loud.any() else 0.0
