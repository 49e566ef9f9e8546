"""What the program says must be true: its summary, its limits, its refusals."""

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from pipeline.arrange.compare import compare
from pipeline.errors import UsageError
from pipeline.guitar.player import Player
from pipeline.guitar.setups import make_setup
from pipeline.hear.audio import MAX_DURATION_S, MIN_DURATION_S
from pipeline.notate.written import moved_octaves, rebarred
from pipeline.options import LayerOptions
from pipeline.read.abc import read_abc
from pipeline.run import arrange_on
from pipeline.summary import comparison_lines, describe_tune, tune_lines
from pipeline.tune import Candidates, Doubt, HeardBar, Tune, TypeCandidate
from tests.test_cli import jig, liltwright  # noqa: F401

ROOT = Path(__file__).parents[1]
HEAD = "X:1\nT:The Wet Gate\nR:jig\nM:6/8\nL:1/8\nK:D\n"
ENDINGS = HEAD + "|:DFA d2A|BAG A2F|GBd AFD|1 E3 E2D:|2 D3 D3|]\n"
ODD_ENDINGS = HEAD + "|:DFA d2A|BAG A2F|1 GBd AFD|D3 D3 A2:|2 GBd AFD|D3 D3 A2|]\n"


def tune_of(text: str) -> Tune:
    return read_abc(text, name="gate.abc")


def doubtful(count: int) -> Tune:
    """A tune with more reasons to doubt than are shown."""
    bars = tuple(HeardBar(float(i), float(i + 1), ()) for i in range(count))
    doubts = tuple(Doubt(i + 1, float(i), f"reason {i}") for i in range(count))
    return replace(tune_of(ENDINGS), bars_heard=bars, doubts=doubts)


def test_only_files_that_were_written_are_named():
    assert not any("report.html" in line for line in tune_lines(doubtful(7)))
    assert "  all of them are in tune.json" in list(tune_lines(doubtful(7), ["tune.json"]))
    both = list(tune_lines(doubtful(7), ["tune.json", "report.html"]))
    assert "  all of them are in report.html and tune.json" in both


def test_one_is_singular():
    assert "  and 1 reason more" in list(tune_lines(doubtful(6)))
    assert describe_tune(tune_of(HEAD + "DFA d2A|]\n")).startswith(
        "Jig in D major, 1 part of 1 bar ("
    )


def test_a_type_that_the_user_named_is_not_questioned():
    types = (TypeCandidate("jig", 0.6), TypeCandidate("slide", 0.4))
    tune = replace(tune_of(ENDINGS), candidates=Candidates(types))
    assert any("might be a slide" in line for line in tune_lines(tune))
    named = replace(tune, overridden={"tune_type": "jig"})
    assert not any("might be" in line for line in tune_lines(named))


def test_the_readme_says_the_limits_of_the_code():
    low, high = re.search(
        r"from (\d+) seconds to (\d+) minutes", (ROOT / "README.md").read_text()
    ).groups()
    assert (float(low), float(high) * 60) == (MIN_DURATION_S, MAX_DURATION_S)


def test_the_help_allows_no_capo_that_is_refused_later(liltwright, jig):  # noqa: F811
    for option in ("--capo", "--other-capo"):
        code, _, err = liltwright("compare", jig, "--other", "DADGAD", option, "12")
        assert code == 2
        assert f"'{option}'" in err
        assert "11" in err


def test_the_bars_of_endings_keep_their_lengths():
    tune = tune_of(ODD_ENDINGS)
    lengths = tune.parts[0].endings[0].bar_lengths
    assert Fraction(1) in lengths
    assert moved_octaves(tune, 1).parts[0].endings[0].bar_lengths == lengths
    with pytest.raises(UsageError, match="not as long as 6/8 says"):
        rebarred(tune, "12/8")


def test_a_comparison_says_which_ending():
    tune, player = tune_of(ENDINGS), Player()
    made = [
        arrange_on(tune, make_setup(tune, tuning=name), player, LayerOptions())
        for name in ("DADGAD", "drop D")
    ]
    rows = list(comparison_lines(compare(tune, *made, layer="melody")))
    labels = [re.split(r"\s{2,}", row.strip())[0] for row in rows[3:8]]
    assert labels == ["1", "2", "3", "4 (1)", "4 (2)"]
