"""The stored priors and the parts of the model, against closed forms and brute force."""

from itertools import product

import numpy as np
import pytest

from pipeline.notate.bestpath import Hypothesis, best_paths
from pipeline.notate.form import find_form
from pipeline.notate.key import KeyEvidence, key_remarks, rank_keys
from pipeline.notate.moves import move_classes
from pipeline.notate.phase import dense
from pipeline.notate.rows import bend, rows
from pipeline.tune import MODES, KeyName
from tests.notate.playing import tune_of


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row.tune_type}-{row.meter}")
def test_moves_from_a_position_are_probabilities(row) -> None:
    total = np.zeros(len(row.positions))
    np.add.at(total, row.source, np.exp(row.logp))
    assert np.all(total <= 1.001)
    assert np.median(total) > 0.9
    assert np.exp(row.start).sum() == pytest.approx(1.0, abs=1e-4)


def test_swing_moves_the_second_quaver_and_leaves_beats_and_triplets() -> None:
    reel = next(row for row in rows() if row.tune_type == "reel")
    assert bend(reel, np.array([0, 12, 24, 8, 16]), 2.0) == pytest.approx([0, 16, 24, 8, 16])
    jig = next(row for row in rows() if row.tune_type == "jig")
    assert bend(jig, np.array([0, 12, 24, 36]), 1.0) == pytest.approx([0, 12, 24, 36])


def test_the_best_path_starts_where_the_priors_of_exact_notes_are_highest() -> None:
    """Against the sum over the notes for every start, written out here."""
    row = next(row for row in rows() if row.tune_type == "jig")
    tick_s = 0.015
    onsets = np.array([0.0, 0.36, 0.54, 0.90, 1.08]) + 1.0
    midi = np.array([62, 66, 69, 66, 62])
    hypothesis = Hypothesis(row, 1.0, tick_s, 0.0)
    path = best_paths(
        onsets, np.ones(5), np.zeros(5, bool), move_classes(midi), [hypothesis], jitter_s=0.01
    )[0]
    moves, movement, start = dense(row)
    steps = np.diff(path.ticks)
    assert steps.tolist() == [24, 12, 24, 12]
    classes = move_classes(midi)

    def prior(first: int) -> float:
        at = first
        total = float(start[first])
        for number, step in enumerate(steps):
            total += float(moves[at % row.bar_ticks, step])
            at += int(step)
            if number < len(steps) - 1:
                total += 0.6 * float(
                    movement[at % row.bar_ticks, classes[number], classes[number + 1]]
                )
        return total

    assert path.ticks[0] == max((int(p) for p in row.positions), key=prior)


def likeness_of(letters: str, bars: int = 8) -> np.ndarray:
    """Bars of equal letters and places are alike, others hardly."""
    names = [(letter, bar) for letter, bar in product(letters, range(bars))]
    return np.array([[1.0 if a == b else 0.2 for a in names] for b in names])


@pytest.mark.parametrize("letters", ["AABBAABB", "AABB", "ABAB", "AABBCC", "AABBAABBAABB"])
def test_parts_and_rounds_are_found_by_their_repetition(letters: str) -> None:
    form = find_form(likeness_of(letters))
    found = "".join("ABCDEF"[segment.label] for segment in form.segments)
    assert found == letters
    assert all(segment.bars == 8 for segment in form.segments)


def test_a_start_inside_a_part_keeps_the_parts_in_place() -> None:
    form = find_form(likeness_of("AABBAABB")[3:, 3:])
    assert [s.first for s in form.segments] == [0, 5, 13, 21, 29, 37, 45, 53]
    assert (form.segments[0].skipped, form.segments[0].bars) == (3, 5)


MODE_TUNES = {
    "major": "K:D\nd2fd A2FA|d2fd e4|g2bg f2af|edcA d4|",
    "mixolydian": "K:Dmix\nd2fd A2FA|d2fd =c4|g2bg f2af|ed=cA d4|",
    "dorian": "K:Ador\nA2cA E2GA|A2ce d4|e2ae d2Bd|cAGE A4|A2^fe d2Bd|cAGE A4|",
    "minor": "K:Am\nA2cA E2GA|A2ce =f4|e2ae d2Bd|cAGE A4|A2=fe d2Bd|cAGE A4|",
}


@pytest.mark.parametrize("mode", MODE_TUNES)
def test_the_mode_follows_the_third_sixth_and_seventh(mode: str) -> None:
    """Modes by their scales: ABC standard 2.1, section 3.1.14."""
    header = "X:1\nT:x\nM:4/4\nL:1/8\n"
    tune = tune_of(header + MODE_TUNES[mode])
    best = rank_keys(KeyEvidence.of_parts(tune.parts, tune.bar_length))
    assert best[0].mode == mode
    assert sum(one.probability for one in best) <= 1.001
    assert [one.probability for one in best] == sorted((o.probability for o in best), reverse=True)
    assert all(one.mode in MODES for one in best)


def test_ranking_is_the_same_in_every_key() -> None:
    tune = tune_of("X:1\nT:x\nM:4/4\nL:1/8\n" + MODE_TUNES["dorian"])
    evidence = KeyEvidence.of_parts(tune.parts, tune.bar_length)
    home = rank_keys(evidence)[0]
    up = KeyEvidence(np.roll(evidence.tables, 2, axis=1), np.roll(evidence.present, 2))
    moved = rank_keys(up)[0]
    assert (home.tonic, moved.tonic) == ("A", "B")
    assert moved.probability == pytest.approx(home.probability, abs=1e-4)


def test_a_pentatonic_tune_leaves_the_mode_open_and_says_so() -> None:
    tune = tune_of("X:1\nT:x\nM:4/4\nL:1/8\nK:Em\nE2GA B2AB|d2BA B2GE|D2EG A2GA|BAGD E4|")
    remarks = key_remarks(tune.parts, tune.bar_length, KeyName("E", "minor"))
    assert any("pentatonic" in remark and "dorian and minor" in remark for remark in remarks)


def test_a_note_used_both_ways_is_mentioned() -> None:
    tune = tune_of("X:1\nT:x\nM:4/4\nL:1/8\nK:D\nd2fd A2cA|d2fd =c4|g2bg f2=cf|edcA d4|")
    remarks = key_remarks(tune.parts, tune.bar_length, KeyName("D", "major"))
    assert "C# and C are both used." in remarks
