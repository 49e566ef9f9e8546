"""The metre network as shipped, and the path through its evidence, against closed forms."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from liltwright import models
from liltwright.models import read_lines
from liltwright.notate.metre.features import describe
from liltwright.notate.metre.kind import Kind, bend
from liltwright.notate.metre.network import NETWORKS, WINDOW, Emissions, listen_for_metre
from liltwright.notate.metre.places import nearest_step, places
from liltwright.notate.metre.tempo import find_tempo
from liltwright.notate.metre.viterbi import COSTS, best_paths
from liltwright.notate.plain import PlainNotes, plain_notes
from tests.notate.playing import JIG, REEL, SLIP_JIG, play, tune_of

OUTPUTS = ("place", "step", "since", "kind", "meter", "flags")


def notes_of(onset_s: np.ndarray, midi: np.ndarray) -> PlainNotes:
    """Plain notes that sound for nine tenths of their time."""
    gap = np.append(np.diff(onset_s), 0.2)
    n = len(midi)
    return PlainNotes(onset_s, onset_s + 0.9 * gap, midi, np.ones(n), (None,) * n)


@pytest.mark.parametrize("network", NETWORKS)
def test_the_networks_in_onnx_equal_those_in_pytorch(network: str) -> None:
    """models/metre/export.py stored what PyTorch made of a melody; float32 sums differ a little."""
    import onnxruntime

    kept = models.read_arrays("metre/reference.npz")
    session = onnxruntime.InferenceSession(
        models.read_bytes(network), providers=["CPUExecutionProvider"]
    )
    names = [one.name for one in session.get_inputs()]
    found = session.run(list(OUTPUTS), {name: kept[name][None] for name in names})
    for name, value in zip(OUTPUTS, found, strict=True):
        wanted = kept[f"out {network.removesuffix('.onnx')[-1]} {name}"]
        assert value[0] == pytest.approx(wanted, abs=1e-3)


def test_the_classes_are_those_the_network_was_trained_on() -> None:
    table = places()
    kept = models.read_arrays("metre/reference.npz")
    sizes = {name: kept[f"out 1 {name}"].shape[1] for name in OUTPUTS}
    assert sizes == {
        "place": len(table.ticks), "step": len(table.steps), "since": table.bars_in_pass,
        "kind": len(table.kinds), "meter": len(table.meters), "flags": 2,
    }  # fmt: skip


def test_every_step_leads_from_its_source_to_its_place() -> None:
    table = places()
    for place in range(len(table.ticks)):
        bar = table.bar_ticks[table.meter[place]]
        for number, step in enumerate(table.steps):
            source = table.source[place, number]
            if source >= 0:
                assert table.meter[source] == table.meter[place]
                assert (table.ticks[source] + step) % bar == table.ticks[place]


def test_what_the_network_sees_does_not_depend_on_key_octave_or_start() -> None:
    notes = plain_notes(play(tune_of(JIG), beats_per_minute=110))
    one = describe(notes.onset_s, notes.offset_s, notes.midi)
    other = describe(notes.onset_s + 3.5, notes.offset_s + 3.5, notes.midi - 12)
    for name, value in one.items():
        assert other[name] == pytest.approx(value, abs=1e-4), name


@pytest.mark.parametrize(("abc", "meter"), [(JIG, "6/8"), (REEL, "4/4"), (SLIP_JIG, "9/8")])
def test_an_even_performance_puts_nearly_all_notes_in_their_place(abc: str, meter: str) -> None:
    notes = plain_notes(play(tune_of(abc), beats_per_minute=104, rounds=2))
    best = best_paths(listen_for_metre(notes), meters=places().meters)[0]
    assert best.meter == meter
    assert np.all(best.ticks >= 0)
    assert not best.jumps.any()
    onset = (notes.onset_s - notes.onset_s[0]) / (best.ticks - best.ticks[0] + 1e-9)
    assert np.ptp(onset[1:]) < 1e-3 * onset[1:].mean()


def test_long_performances_are_read_in_windows_that_agree() -> None:
    """Beyond WINDOW notes the evidence is averaged; the path stays as even as the playing."""
    notes = plain_notes(play(tune_of(REEL), beats_per_minute=104, rounds=6))
    assert len(notes) > WINDOW
    best = best_paths(listen_for_metre(notes), meters=places().meters)[0]
    pace = np.diff(notes.onset_s) / np.diff(best.ticks)
    assert np.ptp(pace) < 1e-3 * pace.mean()


def made_up(n: int, seed: int) -> Emissions:
    """Random log probabilities; every note is on the page, and the page never jumps."""
    rng = np.random.default_rng(seed)
    table = places()

    def logs(size: int) -> np.ndarray:
        raw = rng.normal(0, 2, (n, size))
        return raw - np.logaddexp.reduce(raw, axis=1)[:, None]

    certain = np.tile([0.0, -200.0], (n, 1))
    return Emissions(
        logs(len(table.ticks)), logs(len(table.steps)), logs(16), logs(13), logs(5),
        certain, certain[:, ::-1],
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(3))
def test_the_best_path_is_the_best_of_all_paths(seed: int) -> None:
    """Every way through four notes of 2/4 without jumps or notes passed over, one by one."""
    evidence, table = made_up(4, seed), places()
    which = table.meters.index("2/4")
    inside = np.flatnonzero(table.meter == which)
    found = best_paths(evidence, meters=("2/4",))[0]
    best, weight = -np.inf, read_lines(COSTS)["place"]
    for way in product(inside, repeat=4):
        score = sum(weight * evidence.place[i, p] + evidence.real[i, 0] for i, p in enumerate(way))
        for i in range(3):
            apart = (table.ticks[way[i + 1]] - table.ticks[way[i]]) % 48
            fits = np.flatnonzero((table.steps - apart) % 48 == 0)
            score += evidence.step[i, fits].max() if len(fits) else -np.inf
            score += evidence.jump[i + 1, 1]
        best = max(best, float(score))
    assert found.score == pytest.approx(best)
    assert np.all(found.ticks >= 0)
    assert not found.jumps.any()


def test_a_note_between_two_others_is_passed_over() -> None:
    """A grace note that the ear took for a note: 40 ms before a beat of a jig."""
    notes = plain_notes(play(tune_of(JIG), beats_per_minute=110))
    at = 30
    onset = np.insert(notes.onset_s, at, notes.onset_s[at] - 0.04)
    midi = np.insert(notes.midi, at, notes.midi[at] + 2)
    best = best_paths(listen_for_metre(notes_of(onset, midi)), meters=places().meters)[0]
    assert best.meter == "6/8"
    assert np.flatnonzero(best.ticks < 0).tolist() == [at]


def test_swing_moves_the_second_quaver_and_leaves_beats_and_triplets() -> None:
    reel, jig = Kind("reel", "4/4"), Kind("jig", "6/8")
    assert bend(reel, np.array([0, 12, 24, 8, 16]), 2.0) == pytest.approx([0, 16, 24, 8, 16])
    assert bend(jig, np.array([0, 12, 24, 36]), 1.0) == pytest.approx([0, 12, 24, 36])


@pytest.mark.parametrize("ratio", [1.0, 1.5, 2.0, 3.0])
def test_the_pulse_finds_swing_and_tempo_of_exact_notes(ratio: float) -> None:
    kind = Kind("hornpipe", "4/4")
    ticks = np.arange(0, 96 * 8, 12)
    onset = bend(kind, ticks.astype(float), ratio) * 0.015
    pulse = find_tempo(ticks, onset, np.zeros(len(ticks), bool), kind)
    assert pulse.ratio == pytest.approx(ratio, rel=1e-6)
    assert pulse.tick_s == pytest.approx(0.015)
    assert np.abs(pulse.error_s).max() < 1e-9
    assert not pulse.waits.any()


def test_a_breath_is_time_that_the_pulse_does_not_know() -> None:
    kind = Kind("jig", "6/8")
    ticks = np.arange(0, 72 * 8, 12)
    onset = ticks * 0.015 + 0.4 * (ticks >= 72 * 4)
    pulse = find_tempo(ticks, onset, np.zeros(len(ticks), bool), kind)
    assert np.flatnonzero(pulse.waits).tolist() == [24]
    assert pulse.tick_s == pytest.approx(0.015)


def test_distances_have_the_nearest_step() -> None:
    assert places().steps[nearest_step(np.array([12, 13, 25, 47]))].tolist() == [12, 12, 24, 48]
