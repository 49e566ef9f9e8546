"""Task: one render from the printed tune to its scores.

In: a Job and what to run. Out: a plain dictionary (JSON) with the scores of every stage.
Rendered audio is kept in tests/benchmark/cache/, under a name made from the job and from the
sources of performer, synthesisers and conditions, so that a change there renders anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import resource
import time
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from liltwright.dances import dances
from liltwright.hear.audio.recording import Audio, audio_from_samples
from liltwright.tune import Heard, Tune
from tests.benchmark.conditions import apply, talk_before, tap_feet
from tests.benchmark.degrade import degrade
from tests.benchmark.performer import perform
from tests.benchmark.plan import Job
from tests.benchmark.playing import Performance, truth_heard
from tests.benchmark.pretend import habits, pretend_heard
from tests.benchmark.score_heard import score_heard
from tests.benchmark.score_tune import score_tune
from tests.benchmark.synth import render

HERE = Path(__file__).parent
CACHE = HERE / "cache"
BASELINE_S = 20.0
"""pYIN runs at 3 times real time: baselines hear this much, and are compared on it."""
LONGEST_S = 60.0


@dataclass(frozen=True, slots=True)
class Order:
    """What to do with every job."""

    hear: bool = True
    notate: bool = True
    truth_notes: bool = False
    """Hand the performer's own notes to notate instead of any audio."""
    degrade: tuple[tuple[float, float, float], ...] = ()
    baselines: bool = False
    pretend: bool = False
    """Play as on real recordings (pretend.py); with truth_notes alone."""


def do(job: Job, order: Order) -> dict[str, Any]:
    """Render, hear, notate, score."""
    row: dict[str, Any]
    if order.pretend:
        performance, heard = pretended(job)
        row = {"number": job.number, "tune": job.tune_id, "family": job.sound.family,
               "sound": job.sound.name, "exact": True, "type": job.tune.tune_type,
               "condition": "pretend", "key_sure": job.key_sure, "talk": False, "taps": False,
               "late_start": False, "seconds": performance.duration_s}  # fmt: skip
        return row | _notated(heard, performance.truth)
    performance = perform(
        job.tune, job.sound.family, seed=job.number, late_start=job.late_start,
        longest_s=LONGEST_S,
    )  # fmt: skip
    row = {
        "number": job.number, "tune": job.tune_id, "family": job.sound.family,
        "sound": job.sound.name, "exact": job.sound.exact, "type": job.tune.tune_type,
        "condition": job.condition, "key_sure": job.key_sure, "talk": job.talk,
        "taps": job.taps, "late_start": job.late_start,
    }  # fmt: skip
    if order.truth_notes:
        return row | _from_truth(performance, order)
    audio, truth = recording(job, performance)
    row["seconds"] = round(audio.duration_s, 2)
    row |= _from_audio(audio, truth, order)
    if order.baselines:
        row["baselines"] = _baselines(audio, truth, row.pop("heard_record", None))
    row.pop("heard_record", None)
    return row


def pretended(job: Job) -> tuple[Performance, Heard]:
    """The job as played on a real recording, and the notes as somebody wrote them down."""
    rng = np.random.default_rng([job.number, 15])
    mine = habits(job.tune, rng)
    pace = float(rng.uniform(*dances()[job.tune.tune_type].usual_bpm)) * mine.pace
    performance = perform(job.tune, job.sound.family, seed=job.number, rounds=mine.rounds,
                          beats_per_minute=pace, habits=mine)  # fmt: skip
    return performance, pretend_heard(performance, mine)


# ---------------------------------------------------------------- stages


def _from_truth(performance: Performance, order: Order) -> dict[str, Any]:
    row: dict[str, Any] = {"condition": "truth notes", "seconds": performance.duration_s}
    heard = truth_heard(performance)
    row |= _notated(heard, performance.truth)
    for drop, insert, shift in order.degrade:
        spoiled = degrade(heard, drop=drop, insert=insert, shift=shift, seed=1)
        name = f"drop {drop:.0%} insert {insert:.0%} shift {shift:.0%}"
        row.setdefault("degraded", {})[name] = _notated(spoiled, performance.truth)
    if order.baselines:
        from tests.benchmark.baselines import key_baselines

        row["keys"] = key_baselines(performance.truth)
    return row


def _from_audio(audio: Audio, truth: Tune, order: Order) -> dict[str, Any]:
    from liltwright.hear.listen import hear

    row: dict[str, Any] = {}
    warm()
    start = time.process_time()
    try:
        heard = hear(audio)
    except Exception as fault:  # a crash must not end the run: it counts as all wrong
        return {"error": f"hear: {fault!r}"}
    row["hear_cpu_s"] = round(time.process_time() - start, 3)
    row["heard"] = asdict(score_heard(heard, truth))
    row["heard_record"] = heard
    if order.notate:
        row |= _notated(heard, truth)
    return row


def peak_memory_mb(job: Job) -> int:
    """Most memory this process has held after hearing and writing one stored recording.

    Meant for a fresh process and a job that was rendered before.
    """
    from liltwright.hear.listen import hear
    from liltwright.notate.notate import notate

    performance = perform(job.tune, job.sound.family, seed=job.number,
                          late_start=job.late_start, longest_s=LONGEST_S)  # fmt: skip
    with contextlib.suppress(Exception):
        notate(hear(recording(job, performance)[0]))
    return round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def _notated(heard: Heard, truth: Tune) -> dict[str, Any]:
    from liltwright.notate.notate import notate

    start = time.process_time()
    try:
        tune = notate(heard)
    except Exception as fault:  # as above
        return {"error": f"notate: {fault!r}"}
    took = round(time.process_time() - start, 3)
    said = {"type": tune.tune_type, "key": f"{tune.tonic} {tune.mode}", "form": tune.form}
    true = {"type": truth.tune_type, "key": f"{truth.tonic} {truth.mode}", "form": truth.form}
    return {
        "notate_cpu_s": took, "written": asdict(score_tune(tune, truth)), "said": said,
        "true": true,
    }  # fmt: skip


@cache
def warm() -> None:
    """Load models and compile once, outside the clock."""
    from liltwright.hear.listen import hear
    from liltwright.notate.notate import notate

    rate = 22050
    pitches = [62, 64, 66, 67, 69, 71, 69, 67, 66, 64, 62, 66, 69, 66, 64, 62] * 2
    t = np.arange(int(0.25 * rate)) / rate
    tones = [np.sin(2 * np.pi * 440 * 2 ** ((p - 69) / 12) * t) * np.exp(-t * 6) for p in pitches]
    with contextlib.suppress(Exception):  # a fault shows up, and counts, in the renders
        notate(hear(audio_from_samples(np.concatenate(tones).astype(np.float32), rate)))


def _baselines(audio: Audio, truth: Tune, own: Heard | None) -> dict[str, Any]:
    import mir_eval

    from tests.benchmark.baselines import baseline_notes, beat_times, librosa_beats

    size = int(BASELINE_S * audio.sample_rate)
    start = replace(audio, samples=audio.samples[:size])
    found = baseline_notes(start)
    if own is not None:
        found = {"own": own, **found}
    scores: dict[str, Any] = {
        name: asdict(score_heard(heard, truth, until_s=BASELINE_S - 0.5))
        for name, heard in found.items()
    }
    beats = mir_eval.beat.f_measure(beat_times(truth), librosa_beats(audio))
    return {"notes": scores, "librosa beat f1": float(beats)}


# ---------------------------------------------------------------- audio


def recording(job: Job, performance: Performance) -> tuple[Audio, Tune]:
    """The rendered job as a loaded recording, and the truth with times moved as the audio was."""
    CACHE.mkdir(exist_ok=True)
    path = CACHE / f"{_digest(job)}.npz"
    if path.exists():
        with np.load(path) as kept:
            samples, rate, moved = kept["samples"], int(kept["rate"]), float(kept["moved"])
    else:
        samples, rate, moved = _record(job, performance)
        samples = (np.clip(samples, -1, 1) * 32767).astype(np.int16)
        np.savez(path, samples=samples, rate=rate, moved=moved)
    audio = audio_from_samples(samples.astype(np.float32) / 32768, rate, name=path.name)
    return audio, _moved(performance.truth, moved)


def _record(job: Job, performance: Performance) -> tuple[np.ndarray, int, float]:
    samples, rate = render(performance, job.sound, seed=job.number)
    if job.taps:
        samples = tap_feet(samples, rate, performance.truth, seed=job.number)
    moved = 0.0
    if job.talk:
        samples, moved = talk_before(samples, rate, seed=job.number)
    samples, rate = apply(samples, rate, job.condition, seed=job.number)
    return samples, rate, moved


def _moved(truth: Tune, seconds: float) -> Tune:
    heard = tuple(
        replace(note, onset_s=note.onset_s + seconds, offset_s=note.offset_s + seconds)
        for note in truth.heard
    )
    bars = tuple(
        replace(bar, start_s=bar.start_s + seconds, end_s=bar.end_s + seconds)
        for bar in truth.bars_heard
    )
    return replace(truth, heard=heard, bars_heard=bars)


def _digest(job: Job) -> str:
    text = repr((job, LONGEST_S, _sources()))
    return hashlib.sha256(text.encode()).hexdigest()[:20]


@cache
def _sources() -> str:
    """Checksum of everything that shapes a render."""
    names = ("performer.py", "gracing.py", "manners.py", "playing.py", "timeline.py",
             "conditions.py")  # fmt: skip
    files = [HERE / name for name in names] + sorted((HERE / "synth").glob("*.py"))
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()
