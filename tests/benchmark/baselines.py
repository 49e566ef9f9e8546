"""Task: what general trackers and general analysers make of the same input.

Notes: pYIN and basic-pitch each as they come ("recommended") and with the segmentation that this
    project tuned for them; swift-f0 tuned. All on the same audio as our own ear, in one process.
Key: music21's analysers, Krumhansl-Kessler by hand, the last note alone. Beats: librosa.
References: Mauch & Dixon 2014 (pYIN); Bittner et al. 2022 (basic-pitch); Ellis 2007 (librosa's
    beat tracker); Krumhansl & Kessler 1982; Temperley 2007.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from liltwright.hear.audio.events import find_events
from liltwright.hear.audio.recording import Audio
from liltwright.hear.ears import basic
from liltwright.hear.ears.f0 import F0Track, pyin_track, swift_track
from liltwright.hear.ears.raw import RawNote
from liltwright.hear.ears.segment import PYIN, SWIFT, segment
from liltwright.keys import pitch_class
from liltwright.tune import Heard, NoteEvent, Tune

NAMES = ("pyin", "pyin tuned", "basic-pitch", "basic-pitch tuned", "swift-f0 tuned")
SHORTEST_S = 0.05


def baseline_notes(audio: Audio) -> dict[str, Heard]:
    """The notes of every baseline by name."""
    events = find_events(audio.samples, audio.sample_rate)
    pyin = pyin_track(audio.samples, audio.sample_rate)
    beliefs = basic.beliefs(audio.samples)
    raw = {
        "pyin": steady_runs(pyin),
        "pyin tuned": segment(pyin, events, settings=PYIN),
        "basic-pitch": basic.recommended(beliefs),
        "basic-pitch tuned": basic.one_voice(beliefs),
        "swift-f0 tuned": segment(
            swift_track(audio.samples, audio.sample_rate), events, settings=SWIFT
        ),
    }
    return {name: Heard(audio.source, _events(notes)) for name, notes in raw.items()}


def steady_runs(track: F0Track) -> list[RawNote]:
    """Voiced frames rounded to one semitone for at least 50 ms make a note: the usual recipe."""
    semitone = np.where(track.voiced > 0, np.round(track.pitch_midi), -1)
    edges = np.flatnonzero(np.diff(semitone)) + 1
    found = []
    for a, b in pairwise([0, *edges.tolist(), len(semitone)]):
        start, end = track.times_s[a], track.times_s[min(b, len(semitone) - 1)]
        if semitone[a] >= 0 and end - start >= SHORTEST_S:
            found.append(RawNote(start, end, float(np.median(track.pitch_midi[a:b])), 1.0))
    return found


def _events(notes: list[RawNote]) -> tuple[NoteEvent, ...]:
    return tuple(
        NoteEvent(n.onset_s, max(n.offset_s, n.onset_s + 0.01), n.midi, min(n.confidence, 1.0))
        for n in notes
    )


# ---------------------------------------------------------------- beats and keys


def librosa_beats(audio: Audio) -> np.ndarray:
    """Beat times in seconds by librosa's beat tracker with its defaults."""
    import librosa

    track = librosa.beat.beat_track  # type: ignore[attr-defined]
    _, beats = track(y=audio.samples, sr=audio.sample_rate, units="time")
    return np.asarray(beats)


def beat_times(tune: Tune) -> np.ndarray:
    """The beats of a tune's performed bars, divided evenly inside each bar."""
    count = int(tune.bar_length / tune.beat)
    times = [
        bar.start_s + (bar.end_s - bar.start_s) * beat / count
        for bar in tune.bars_heard
        if not (bar.notes and bar.notes[0].start > 0)
        for beat in range(count)
    ]
    return np.sort(np.array(times))


def key_baselines(truth: Tune) -> dict[str, tuple[float, float]]:
    """(tonic right, mode and tonic right) by analyser, from the notes as written."""
    answers = music21_keys(truth)
    answers["last note"] = (truth.written_bars()[-1].notes[-1].midi % 12, "major")
    tonic = pitch_class(truth.tonic)
    return {
        name: (float(found == tonic), float(found == tonic and mode == truth.mode))
        for name, (found, mode) in answers.items()
    }


def music21_keys(truth: Tune) -> dict[str, tuple[int, str]]:
    """(tonic as pitch class, mode) by music21's analysers, from the notes as written."""
    score = _stream(truth)
    return {
        name: _music21_key(score, analyser)
        for name, analyser in (
            ("music21 default (Aarden-Essen)", "key"),
            ("music21 Temperley", "TemperleyKostkaPayne"),
            ("music21 Krumhansl-Schmuckler", "KrumhanslSchmuckler"),
        )
    }


def _stream(truth: Tune) -> Any:
    from music21 import note, stream

    out = stream.Stream()
    written = truth.written_bars()
    for index in truth.performed_order():
        for one in written[index].notes:
            out.append(note.Note(one.midi, quarterLength=float(one.length * 4)))
    return out


def _music21_key(score: Any, analyser: str) -> tuple[int, str]:
    found = score.analyze(analyser)
    return found.tonic.pitchClass, found.mode
