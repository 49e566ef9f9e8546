"""Jobs hand back records and print nothing; both that fill a folder save in one way."""

import dataclasses
from pathlib import Path

import pytest

from liltwright import jobs, jobs_around
from liltwright.errors import PipelineError, UsageError
from liltwright.options import GuitarOptions, LayerOptions, OutputOptions, TuneOptions
from liltwright.unpicking import PageOptions

QUIET = OutputOptions(sheets=False, sound=False, report=False)
HEAD = "X:1\nT:The Wet Gate\nR:jig\nM:6/8\nL:1/8\nK:D\n"
TUNE = f"{HEAD}|:DFA d2A|BAG A2F|GBd AFD|E3 D3:|\n"


@pytest.fixture
def tune(tmp_path, monkeypatch) -> Path:
    monkeypatch.setattr("liltwright.guitar.player.profile_path", lambda: tmp_path / "none.json")
    path = tmp_path / "gate.abc"
    path.write_text(TUNE, encoding="utf-8")
    return path


def arranged(tune: Path, **more) -> jobs.Arranged:
    wanted = GuitarOptions(tuning="DADGAD", capo=0)
    return jobs.arrange(tune, more.pop("out", None), more.pop("replace", False), TuneOptions(),
                        wanted, LayerOptions(), QUIET, **more)  # fmt: skip


def test_an_arrangement_says_what_was_made_and_where_it_lies(tune, capsys):
    made = arranged(tune)
    assert made.kept.folder == tune.with_suffix("")
    assert {path.name for path in made.kept.saved.written} == set(made.kept.files)
    assert all((made.kept.folder / name).read_bytes() == data
               for name, data in made.kept.files.items())  # fmt: skip
    assert made.done.arrangements[0].setup.tuning == "DADGAD"
    assert capsys.readouterr() == ("", "")


def test_what_the_user_edited_is_named_in_the_record(tune):
    folder = arranged(tune).kept.folder
    (folder / "tune.abc").write_text(TUNE.replace("E3 D3", "D3 D3"), encoding="utf-8")
    again = arranged(folder / "tune.abc", out=folder)
    assert not again.kept.saved.beside, "the run was made from it"
    other = arranged(tune, out=folder)
    assert other.kept.saved.beside == {"tune.abc": "tune.new.abc"}
    mine = arranged(tune, out=folder, replace=True)
    assert mine.kept.saved.aside == {"tune.abc": "tune.yours.abc"}


def test_a_job_that_fails_leaves_no_folder(tmp_path):
    broken = tmp_path / "broken.abc"
    broken.write_text("X:1\nK:D\n", encoding="utf-8")
    with pytest.raises(PipelineError):
        arranged(broken, out=tmp_path / "a" / "b")
    page = PageOptions()
    with pytest.raises(PipelineError):
        jobs.unpick(broken, tmp_path / "a" / "c", False, TuneOptions(), page, QUIET, other=False)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["broken.abc"]


def test_the_other_jobs_print_nothing_either(tune, capsys):
    tabbed = jobs.tab(tune, TuneOptions(), GuitarOptions(tuning="DADGAD"), LayerOptions(), "drone")
    assert (tabbed.layer, tabbed.paths) == ("drone", ())
    same, comparison = jobs.compare(
        tune, TuneOptions(), GuitarOptions(tuning="DADGAD"), GuitarOptions(tuning="standard"),
        "plain-bass",
    )  # fmt: skip
    assert same == tabbed.tune
    assert comparison.second.tuning == "standard"
    with pytest.raises(UsageError, match="listen takes a recording"):
        jobs.listen(tune, None, False, TuneOptions())
    assert capsys.readouterr() == ("", "")


def test_a_plan_of_a_set_that_there_is_not(tune):
    wanted = [GuitarOptions(tuning="DADGAD", capo=0)] * 2
    plan = {"keep_order": True, "lift": False, "plans": 1}
    made = jobs_around.plan_set([tune, tune], wanted, **plan)
    assert (len(made.plans), made.names, made.kept) == (1, ("The Wet Gate",) * 2, None)
    with pytest.raises(UsageError, match="plan 9 is out of range"):
        jobs_around.plan_set([tune, tune], wanted, take=9, **plan)


def test_records_are_frozen(tune):
    made = arranged(tune)
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.kept = None
