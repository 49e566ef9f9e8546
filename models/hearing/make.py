"""Fit confidence.json: how often notes of each ear are right, on development renders.

Task   : renders of development tunes and sung clips -> logistic weights per ear.
Method : every ear listens to the same recordings; each of its notes is right or not (mir_eval's
         definition: onset within 50 ms, latency taken out, pitch within 50 cents, one to one);
         logistic regression by Newton's method with a small ridge. The sung clips are of the kind
         that the ear was trained with (models/ear), of seeds that it was not trained with. The
         ear of a band, "band", hears mixtures instead, of one octave: where players are in two, no
         octave is the right one.
Run    : python -m liltwright.models.hearing.make [EAR ...], from the repository, then
         liltwright.models.register.
         Needs PyTorch for the sung clips.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

FILE = Path(__file__).with_name("confidence.json")
FAMILIES: tuple[Any, ...] = (
    "hum", "lilt", "choir", "lips", "whistle", "recorder", "flute", "fiddle", "accordion",
    "pipes", "plucked",
)  # fmt: skip
SEED = 4
LONGEST_S = 20.0
CONDITIONS: tuple[Any, ...] = ("clean", "room", "noise20", "noise12", "phone")
LAPS = 2
SUNG = {"singers": 60, "voice": 6, "choir": 8, "hum": 6}
"""Clips of about six seconds by family of models/ear."""
MIXTURES = tuple(number for number in range(100, 124) if number // 2 % 4 != 3)
"""Numbers of tests.benchmark.band_mix, but for those with players in octaves."""
RIDGE = 1.0

Truth = tuple[np.ndarray, np.ndarray]
"""Onsets in seconds and sounding MIDI pitches of the true notes."""


def main() -> None:
    """Fit the ears named on the command line and write their weights."""
    ears = sys.argv[1:] or ["own", "swift-f0", "basic-pitch"]
    rows: dict[str, list[tuple[np.ndarray, np.ndarray]]] = {ear: [] for ear in ears}
    alone = [ear for ear in ears if ear != "band"]
    for audio, truth in (*renders(), *sung()) if alone else ():
        for ear in alone:
            rows[ear].append(judged(audio, truth, ear))
    for audio, truth in mixtures() if "band" in ears else ():
        rows["band"].append(judged(audio, truth, "band"))
    table = json.loads(FILE.read_text(encoding="utf-8"))
    for ear, found in rows.items():
        features = np.concatenate([one for one, _ in found])
        right = np.concatenate([one for _, one in found])
        weights = fit(features, right)
        table["weights"][ear] = [round(float(value), 3) for value in weights]
        _report(ear, features @ weights, right)
    lines = ",\n".join(f"  {json.dumps(k)}: {json.dumps(v)}" for k, v in table["weights"].items())
    drawn = f' "sung": {json.dumps(table["sung"])}\n'
    FILE.write_text('{\n "weights": {\n' + lines + "\n },\n" + drawn + "}\n", encoding="utf-8")


def renders() -> Iterator[tuple[Any, Truth]]:
    """Audio and true notes of LAPS performances per family and condition."""
    from liltwright.hear.audio.recording import audio_from_samples
    from tests.benchmark.collections import tunes
    from tests.benchmark.conditions import apply
    from tests.benchmark.performer import perform
    from tests.benchmark.synth import render, sounds

    rng = np.random.default_rng(SEED)
    collected = tunes("dev")
    for turn, condition in enumerate(CONDITIONS * LAPS):
        for family in FAMILIES:
            tune = collected[int(rng.integers(len(collected)))].tune
            try:
                played = perform(tune, family, seed=int(rng.integers(1 << 20)), longest_s=LONGEST_S)
            except ValueError:
                continue
            choices = [one for one in sounds(family) if one.font != "fluid"]  # kept for testing
            samples, rate = render(played, choices[turn % len(choices)], seed=turn)
            samples, rate = apply(samples, rate, condition, seed=turn)
            audio = audio_from_samples(samples[: round(LONGEST_S * 1.5 * rate)], rate)
            true = [note for note in played.truth.heard if note.onset_s < audio.duration_s]
            cents = played.truth.tuning_offset_cents
            yield (
                audio,
                (
                    np.array([note.onset_s for note in true]),
                    np.array([note.midi + cents / 100 for note in true]),
                ),
            )


def mixtures() -> Iterator[tuple[Any, Truth]]:
    """Audio and true notes of bands, by the sound font that is not kept for testing."""
    from liltwright.hear.audio.recording import audio_from_samples
    from tests.benchmark.band_mix import mixture

    for number in MIXTURES:
        mixed = mixture("dev", number, font="timgm")
        true, cents = mixed.tunes[0].heard, mixed.tunes[0].tuning_offset_cents
        yield (
            audio_from_samples(mixed.samples, mixed.rate),
            (
                np.array([note.onset_s for note in true]),
                np.array([note.midi + cents / 100 for note in true]),
            ),
        )


def sung() -> Iterator[tuple[Any, Truth]]:
    """Audio and true notes of clips like those that the ear was trained with."""
    import torch

    from liltwright.hear.audio.recording import audio_from_samples
    from liltwright.hear.ears.network import SAMPLE_RATE
    from liltwright.models.ear.render import collate, render
    from liltwright.models.ear.scenes import scene

    rng = np.random.default_rng((SEED, 99))
    generator = torch.Generator().manual_seed(SEED)
    for family, count in SUNG.items():
        for _ in range(count):
            clip = scene(rng, family)
            with torch.no_grad():
                samples = render(collate([clip]), generator)[0].numpy()
            yield audio_from_samples(samples, SAMPLE_RATE), _true_notes(clip)


def _true_notes(clip: Any) -> Truth:
    """The notes that the frame labels of a clip stand for."""
    from liltwright.hear.ears.network import HOP_S

    track = np.pad(clip.events[0], 1)
    first = np.flatnonzero((track[1:-1] >= track[:-2]) & (track[1:-1] > track[2:]))
    first = first[(clip.events[0][first] > 0.7) & (first < len(clip.pitch) - 2)]
    return first * HOP_S, clip.pitch[first + 2].astype(float)


def judged(audio: Any, truth: Truth, ear: str) -> tuple[np.ndarray, np.ndarray]:
    """Features of every note that an ear hears, and which are right."""
    from liltwright.hear import listen
    from liltwright.hear.audio.events import find_events
    from liltwright.hear.clean.confidence import features
    from liltwright.hear.clean.several import foreign_shares
    from liltwright.hear.ears.by_name import raw_notes
    from liltwright.hear.settings import HearSettings

    settings = HearSettings(players="band") if ear == "band" else HearSettings(ear=ear)  # type: ignore[arg-type]
    audio = listen.towards_the_lead(audio, {}) if ear == "band" else audio
    events = find_events(audio.samples, audio.sample_rate)
    raw = raw_notes(audio, events, settings=settings)
    if not raw:
        return np.zeros((0, 9)), np.zeros(0)
    raw, measured = listen._fine_pitch(raw, audio, settings)
    foreign = foreign_shares(audio.samples, audio.sample_rate, raw)
    onset_s = np.array([note.onset_s for note in raw])
    midi = np.array([note.midi for note in raw])
    right = _right(onset_s, midi, *truth)
    return features(raw, measured.clarity, measured.spread_cents, foreign), right


def _right(
    onset_s: np.ndarray, midi: np.ndarray, true_s: np.ndarray, true_midi: np.ndarray
) -> np.ndarray:
    """1 for heard notes that match a true note one to one, at the best constant latency."""
    from mir_eval.util import _bipartite_match

    close = np.abs(midi[:, None] - true_midi[None, :]) < 0.5
    best: np.ndarray = np.zeros(len(onset_s))
    for latency_s in np.arange(-0.06, 0.061, 0.01):
        near = np.abs(onset_s[:, None] - latency_s - true_s[None, :]) < 0.05
        hits = {i: list(np.flatnonzero(row)) for i, row in enumerate(near & close) if row.any()}
        matched = np.zeros(len(onset_s))
        matched[list(_bipartite_match(hits).values())] = 1.0
        if matched.sum() > best.sum():
            best = matched
    return best


def fit(features: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Logistic regression weights, shape (n_features,)."""
    weights = np.zeros(features.shape[1])
    ridge = RIDGE * np.eye(features.shape[1])
    for _ in range(30):
        probability = 1 / (1 + np.exp(-features @ weights))
        slope = features.T @ (right - probability) - ridge @ weights
        curve = (features * (probability * (1 - probability))[:, None]).T @ features + ridge
        weights = weights + np.linalg.solve(curve, slope)
    return weights


def _report(ear: str, score: np.ndarray, right: np.ndarray) -> None:
    """Print the reliability table: said, true share, notes."""
    said = 1 / (1 + np.exp(-score))
    print(ear, f"{len(right)} notes, {right.mean():.3f} right")
    for low, high in (
        (0, 0.3),
        (0.3, 0.5),
        (0.5, 0.7),
        (0.7, 0.8),
        (0.8, 0.9),
        (0.9, 0.95),
        (0.95, 0.98),
        (0.98, 1),
    ):
        here = (said >= low) & (said < high)
        if here.any():
            print(f"  {said[here].mean():.2f} {right[here].mean():.2f} {here.sum()}")


if __name__ == "__main__":
    main()
