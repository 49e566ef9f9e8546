"""An edited tune file is joined with the recording of its own tune, and with no other."""

from __future__ import annotations

import shutil
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from liltwright.again import read_again, share_melody
from liltwright.read.abc import read_abc
from liltwright.tune import NoteEvent, Tune
from liltwright.write.files import tune_files
from liltwright.write.folder.save import save
from liltwright.write.formats.abc import tune_to_abc
from tests.write.hand_made import jig

OTHER = "X:1\nT:The Other\nR:reel\nM:4/4\nL:1/8\nK:G\n|:GABc dBAG|c2A2 FADE|G4 B2AG|E2D2 D4:|\n"


def heard(tune: Tune, *warnings: str) -> Tune:
    return replace(tune, heard=(NoteEvent(0.5, 1.0, 62.0),), warnings=warnings)


def other() -> Tune:
    return read_abc(OTHER, name="other.abc")


def written(folder: Path, tune: Tune, keep: tuple[str, ...] = ()) -> None:
    folder.mkdir(exist_ok=True)
    save(tune_files(tune), folder, keep=keep)


def edit(path: Path, old: str = "K:", new: str = "N:mine\nK:") -> None:
    text = path.read_text()
    assert old in text
    path.unlink()
    path.write_text(text.replace(old, new, 1))


def is_joined(path: Path) -> bool:
    return bool(read_again(path)[0].heard)


@pytest.mark.parametrize("name", ["tune.abc", "tune.musicxml", "tune.mid"])
def test_what_was_written_with_tune_json_is_joined(tmp_path, name):
    written(tmp_path, heard(jig()))
    assert is_joined(tmp_path / name)


def test_an_edit_is_joined_with_its_own_tune_over_several_runs(tmp_path):
    written(tmp_path, heard(jig()))
    for _ in range(3):
        edit(tmp_path / "tune.abc")
        tune = read_again(tmp_path / "tune.abc")[0]
        assert tune.heard
        written(tmp_path, tune, keep=("tune.abc",))


def test_an_edit_is_not_joined_with_another_tune(tmp_path):
    """The reported case: an adopted edit, then another tune into the same folder."""
    written(tmp_path, heard(jig()))
    edit(tmp_path / "tune.abc")
    written(tmp_path, read_again(tmp_path / "tune.abc")[0], keep=("tune.abc",))
    written(tmp_path, heard(other()))
    tune = read_again(tmp_path / "tune.abc")[0]
    assert not tune.heard
    assert tune.title == jig().title
    assert "notes" not in tune.overridden
    assert is_joined(tmp_path / "tune.mid")
    written(tmp_path, replace(tune, heard=jig().heard), keep=("tune.abc",))
    edit(tmp_path / "tune.abc")
    assert read_again(tmp_path / "tune.abc")[0].overridden["notes"] == "as edited in tune.abc"


def test_a_new_version_that_the_user_took_and_edited_is_joined(tmp_path):
    written(tmp_path, heard(jig()))
    edit(tmp_path / "tune.abc")
    written(tmp_path, heard(other()))
    (tmp_path / "tune.new.abc").replace(tmp_path / "tune.abc")
    assert is_joined(tmp_path / "tune.abc")
    edit(tmp_path / "tune.abc")
    assert is_joined(tmp_path / "tune.abc")


def test_the_old_edit_alone_without_the_new_version_is_not_joined(tmp_path):
    written(tmp_path, heard(jig()))
    edit(tmp_path / "tune.abc")
    written(tmp_path, heard(other()))
    (tmp_path / "tune.new.abc").unlink()
    assert not is_joined(tmp_path / "tune.abc")


def test_the_last_run_counts_where_the_user_keeps_a_tune_json(tmp_path):
    written(tmp_path, heard(jig()))
    edit(tmp_path / "tune.json", '"rounds": ', '"rounds":  ')
    written(tmp_path, heard(other(), "of the other"))
    edit(tmp_path / "tune.abc")
    assert read_again(tmp_path / "tune.abc")[0].warnings == ("of the other",)


@pytest.mark.parametrize(("tune", "joined"), [(jig, True), (other, False)])
def test_without_a_list_the_melody_decides(tmp_path, tune, joined):
    written(tmp_path / "o", heard(jig()))
    (tmp_path / "mine").mkdir()
    shutil.copy(tmp_path / "o" / "tune.json", tmp_path / "mine")
    (tmp_path / "mine" / "tune.abc").write_text(tune_to_abc(tune()))
    assert is_joined(tmp_path / "mine" / "tune.abc") == joined


def test_a_tune_and_its_edit_share_melody_and_two_tunes_do_not():
    tune = jig()
    assert share_melody(tune, tune)
    assert not share_melody(tune, other())


def test_warnings_of_the_edit_stand_beside_those_of_the_recording(tmp_path):
    written(tmp_path, heard(jig(), "Several instruments seem to play."))
    edit(tmp_path / "tune.abc", "M:6/8", "M:mine")
    tune = read_again(tmp_path / "tune.abc")[0]
    assert tune.warnings == ("Several instruments seem to play.",)
    assert 'The metre "mine" is treated as 4/4.' in tune.remarks
    written(tmp_path, tune, keep=("tune.abc",))
    edit(tmp_path / "tune.abc", "M:mine", "M:6/8")
    tune = read_again(tmp_path / "tune.abc")[0]
    assert tune.warnings == ("Several instruments seem to play.",)
    assert not [one for one in tune.remarks if "treated as" in one]


def test_warnings_about_an_older_text_are_not_said_of_the_new_one(tmp_path):
    written(tmp_path, replace(jig(), warnings=('The metre "odd" is treated as 4/4.',)))
    path = tmp_path / "tune.abc"
    path.write_text(path.read_text() + "\n| D6 |\n")
    assert read_again(path)[0].warnings == (
        "Music after an empty line is read as part of the tune.",
    )


def crooked() -> Tune:
    part = jig().parts[0]
    lengths = [Fraction(3, 4)] * len(part.bars)
    notes = list(part.bars)
    lengths[1] = Fraction(9, 8)
    last = notes[1][-1]
    notes[1] = (*notes[1], replace(last, start=Fraction(3, 4), length=Fraction(3, 8)))
    return replace(
        jig(),
        parts=(replace(part, bars=tuple(notes), bar_lengths=tuple(lengths)), *jig().parts[1:]),
    )


def odd(tune: Tune) -> list[str]:
    return [one for one in tune.remarks if "does not add up" in one]


def test_a_crooked_bar_that_the_program_wrote_is_no_fault(tmp_path):
    written(tmp_path, heard(crooked()))
    assert odd(read_abc((tmp_path / "tune.abc").read_text(), name="moved.abc"))
    for _ in range(2):
        edit(tmp_path / "tune.abc")
        tune = read_again(tmp_path / "tune.abc")[0]
        assert odd(tune) == []
        written(tmp_path, tune, keep=("tune.abc",))


def test_an_odd_bar_of_the_users_is_said_each_time(tmp_path):
    written(tmp_path, heard(crooked()))
    text = (tmp_path / "tune.abc").read_text().splitlines()
    place = next(at for at, line in enumerate(text) if line.startswith("K:")) + 1
    bars = text[place].split("|")
    at = next(n for n in range(3, len(bars)) if len(bars[n].strip()) > 4)
    bars[at] = bars[at].rstrip() + " A "
    text[place] = "|".join(bars)
    (tmp_path / "tune.abc").unlink()
    (tmp_path / "tune.abc").write_text("\n".join(text) + "\n")
    for _ in range(2):
        tune = read_again(tmp_path / "tune.abc")[0]
        assert len(odd(tune)) == 1
        written(tmp_path, tune, keep=("tune.abc",))
