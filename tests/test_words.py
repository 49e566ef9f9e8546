"""What the program says must be true: its summary, its limits, its refusals."""

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from liltwright.arrange.compare import compare
from liltwright.counting import count as counted
from liltwright.errors import UsageError
from liltwright.guitar.player import Player
from liltwright.guitar.setups import make_setup
from liltwright.hear.audio.recording import MAX_DURATION_S, MIN_DURATION_S
from liltwright.notate.written import moved_octaves, rebarred
from liltwright.options import GuitarOptions, LayerOptions
from liltwright.read.abc import read_abc
from liltwright.run import arrange_on, rank
from liltwright.summary import (
    comparison_lines,
    places_words,
    ranking_lines,
    tune_lines,
)
from liltwright.tune import Candidates, Doubt, HeardBar, Tune, TypeCandidate
from liltwright.words import best_words, describe_tune
from liltwright.write.report.ranking import ranking_section
from liltwright.write.report.sections import masthead
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


def test_the_setup_that_was_asked_for_is_shown_with_its_place(liltwright, jig):  # noqa: F811
    code, out, _ = liltwright("tunings", jig, "--tuning", "open C", "--capo", "2")
    assert code == 0
    place = int(re.search(r"^open C, capo 2 .*as you asked, has place (\d+);", out, re.M)[1])
    assert place > 5
    assert re.search(rf"^ *{place}\. open C, capo 2 .*score", out, re.M)
    assert f"- open C, capo 2 (place {place}): " in out


def test_a_setup_that_nobody_lists_has_a_place_too():
    tune = tune_of(ENDINGS)
    ranking = rank(tune, Player(), GuitarOptions(tuning="CGDGBE", capo=11))
    assert (ranking.chosen.capo, ranking.chosen.rank) == (11, ranking.asked)
    better = [setup for setup in ranking.setups if setup.score > ranking.chosen.score]
    assert len(better) < ranking.asked
    high = {setup.tuning for setup in ranking.setups if setup.capo > Player().highest_capo}
    assert high == {ranking.chosen.tuning}


def test_the_short_list_says_why_places_are_missing():
    ranking = rank(tune_of(ENDINGS), Player(), GuitarOptions())
    lines = list(ranking_lines(ranking))
    shown = {int(line.split(".")[0]) for line in lines if re.match(r" *\d+\. ", line)}
    missing = set(range(1, max(shown))) - shown
    assert missing
    said = f"     Left out as nearly the same as a better one: {places_words(missing)}"
    assert said in lines


def test_summary_and_report_say_what_was_asked_for():
    tune = tune_of(ENDINGS)
    ranking = rank(tune, Player(), GuitarOptions(tuning="standard", capo=2))
    setup = ranking.chosen.setup
    made = arrange_on(tune, setup, Player(), LayerOptions())
    said = best_words(ranking, setup)
    assert said.startswith("Arranged in standard, capo 2 (")
    assert f"as you asked (place {ranking.asked}); what sits best is " in said
    assert said in list(ranking_lines(ranking, arranged=setup))
    assert said in masthead(tune, ranking, [made])
    assert "as you asked" in ranking_section(tune, ranking, Player())


def test_a_setup_that_cannot_hold_the_tune_is_refused_with_the_note(liltwright, tmp_path):  # noqa: F811
    low = tmp_path / "low.abc"
    low.write_text(HEAD + "A,,FA d2A|b'3 D3|]\n")
    code, _, err = liltwright("tunings", low, "--tuning", "standard", "--capo", "7")
    assert code == 1
    assert "in bar 1" in err


def test_a_comparison_of_one_bar_is_in_the_singular():
    tune = tune_of(HEAD + "D6|]\n")
    made = arrange_on(tune, make_setup(tune, tuning="DADGAD"), Player(), LayerOptions())
    rows = "\n".join(comparison_lines(compare(tune, made, made, layer="melody")))
    assert "is easier in no bars, DADGAD in no, of 1." in rows
    assert "bass on no main beats." in rows
    assert not re.search(r"\b1 (moves|bars|main beats)\b", rows)
    assert counted(1, "fret") == "1 fret"
