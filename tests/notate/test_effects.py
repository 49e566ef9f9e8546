"""A fixed value that has no effect, or fits nothing, says so."""

import sys

import pytest

from liltwright import cli
from liltwright.errors import UsageError
from liltwright.notate.effects import effects_words
from liltwright.notate.notate import notate
from liltwright.notate.renotate import renotate
from liltwright.notate.settings import NotateSettings
from liltwright.options import TuneOptions
from liltwright.run import find_tune
from tests.notate.playing import play
from tests.notate.test_notate import JIG, tune_of


def about(tune) -> list[str]:
    return list(effects_words(tune.remarks))


@pytest.fixture(scope="module")
def heard():
    return play(tune_of(JIG), beats_per_minute=101, octaves=-1)


def test_a_tempo_that_was_not_taken_says_so(heard):
    tune = notate(heard, settings=NotateSettings(beats_per_minute=33))
    assert abs(tune.beats_per_minute - 33) > 3
    found = f"{tune.beats_per_minute:.0f}"
    assert about(tune) == [
        "You asked for tempo 33, which fits no reading of what was played; "
        f"the tune is read at {found}."
    ]
    assert about(notate(heard, settings=NotateSettings(beats_per_minute=100))) == []


def test_an_octave_that_is_there_already_says_so(heard):
    tune = notate(heard, settings=NotateSettings(octave_shift=1))
    assert tune.octave_shift == 1
    same = (
        "You asked for octave 1, which changes nothing: the tune is written in that octave already."
    )
    assert about(tune) == [same]
    assert about(renotate(tune, NotateSettings())) == []
    assert about(notate(heard, settings=NotateSettings(octave_shift=2))) == []
    assert about(renotate(tune, NotateSettings(octave_shift=1))) == [same]


def test_a_type_that_the_bars_exclude_says_so():
    tune = tune_of(JIG)
    (words,) = about(renotate(tune, NotateSettings(tune_type="reel")))
    assert words.startswith(
        "You asked for type reel, which does not fit the bars: it is written in "
    )
    assert words.endswith("this tune in 6/8.")
    assert about(renotate(tune, NotateSettings(tune_type="slide"))) == []


def test_a_first_bar_after_the_end_is_refused(heard):
    with pytest.raises(UsageError, match="the first bar line at 500 lies after the last"):
        notate(heard, settings=NotateSettings(first_bar_s=500))


@pytest.mark.parametrize("options", [TuneOptions(take=2), TuneOptions(ear="pyin")])
def test_options_for_recordings_are_refused_for_a_written_tune(options, tmp_path):
    (tmp_path / "jig.abc").write_text("X:1\nM:6/8\nK:D\nDFA d2A|\n")
    with pytest.raises(UsageError, match="is for recordings"):
        find_tune(tmp_path / "jig.abc", options)


def test_the_tab_says_what_an_octave_does(tmp_path, monkeypatch, capsys):
    path = tmp_path / "jig.abc"
    path.write_text("X:1\nR:jig\nM:6/8\nK:D\nDFA d2A|BAG A2F|dBd efg|E3 D3|]\n")
    monkeypatch.setattr(sys, "argv", ["liltwright", "tab", str(path), "--octave", "1"])
    with pytest.raises(SystemExit, match="0"):
        cli.main()
    assert "liltwright: --octave 1 moves the written tune; the guitar" in capsys.readouterr().err
