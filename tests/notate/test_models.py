"""Form and key, against closed forms."""

from itertools import product

import numpy as np
import pytest

from liltwright.notate.form import find_form
from liltwright.notate.key import KeyEvidence, key_remarks, rank_keys
from liltwright.tune import MODES, KeyName
from tests.notate.playing import tune_of


def likeness_of(letters: str, bars: int = 8) -> np.ndarray:
    """Bars of equal letters and places are alike, others hardly."""
    names = [(letter, bar) for letter, bar in product(letters, range(bars))]
    return np.array([[1.0 if a == b else 0.2 for a in names] for b in names])


@pytest.mark.parametrize("letters", ["AABBAABB", "AABB", "ABAB", "AABBCC", "AABBAABBAABB"])
def test_parts_and_rounds_are_found_by_their_repetition(letters: str) -> None:
    form = find_form(likeness_of(letters), np.zeros(8 * len(letters)))
    found = "".join("ABCDEF"[segment.label] for segment in form.segments)
    assert found == letters
    assert all(segment.bars == 8 for segment in form.segments)


def test_a_start_inside_a_part_keeps_the_parts_in_place() -> None:
    form = find_form(likeness_of("AABBAABB")[3:, 3:], np.zeros(61))
    assert [s.first for s in form.segments] == [0, 5, 13, 21, 29, 37, 45, 53]
    assert (form.segments[0].skipped, form.segments[0].bars) == (3, 5)


@pytest.mark.parametrize("begins", [[0, 16], [0, 8, 16, 24]])
def test_parts_that_never_repeat_begin_where_the_network_hears_them_begin(begins) -> None:
    """Thirty-two different bars played twice."""
    name = np.arange(64) % 32
    alike = np.where(name[:, None] == name[None], 1.0, 0.2)
    form = find_form(alike, np.where(np.isin(name, begins), 4.0, -4.0))
    assert [s.first for s in form.segments] == [*begins, *(32 + at for at in begins)]


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


def test_a_part_that_comes_back_ends_the_round_and_no_round_is_broken_off() -> None:
    form = find_form(likeness_of("AABAA"), np.zeros(40))
    assert form.round_bars == 40
    assert "".join("AB"[segment.label] for segment in form.segments) == "AABAA"


def test_two_rounds_stay_two_rounds_after_a_late_start() -> None:
    form = find_form(likeness_of("AABBAABB")[1:, 1:], np.zeros(63))
    assert (form.round_bars, form.segments[0].skipped) == (32, 1)
