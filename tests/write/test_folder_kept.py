"""What a user may do to an output folder, and what stays whatever runs follow."""

import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from liltwright.errors import UsageError
from liltwright.options import OutputOptions
from liltwright.write.files import is_left_out, is_of_tune
from liltwright.write.folder.journal import finish
from liltwright.write.folder.ledger import LIST_NAME, WRITING, is_plain_name, read_list
from liltwright.write.folder.save import check_folder, edited_by_user, restore, save, save_one


def run(files, folder, **more):
    check_folder(folder, replace=more.get("replace", False))
    return save(files, folder, **more)


def visible(folder):
    return sorted(path.name for path in folder.iterdir() if not path.name.startswith("."))


def test_an_edit_is_kept_over_any_number_of_runs_in_any_order(tmp_path):
    mine = tmp_path / "tune.abc"
    run({"tune.abc": b"one"}, tmp_path)
    for edit in (b"first edit", b"second edit"):
        mine.write_bytes(edit)
        assert edited_by_user(mine)
        run({"tune.abc": b"from it", "tune.json": edit}, tmp_path, keep=["tune.abc"])
        assert mine.read_bytes() == edit
    for other in (b"another tune", b"a hum", b"another tune"):
        assert run({"tune.abc": other}, tmp_path).beside == {"tune.abc": "tune.new.abc"}
        assert mine.read_bytes() == b"second edit"
        assert (tmp_path / "tune.new.abc").read_bytes() == other


def test_the_users_own_sheet_and_report_stay(tmp_path):
    run({"tune.abc": b"one"}, tmp_path)
    (tmp_path / "tune.pdf").write_bytes(b"my sheet")
    (tmp_path / "report.html").write_bytes(b"my page")
    run({"tune.abc": b"two", "tune.pdf": b"new", "report.html": b"new"}, tmp_path)
    assert (tmp_path / "tune.pdf").read_bytes() == b"my sheet"
    assert (tmp_path / "report.html").read_bytes() == b"my page"
    assert (tmp_path / "tune.new.pdf").read_bytes() == b"new"


def test_a_new_version_goes_over_no_file_of_the_users(tmp_path):
    run({"tune.abc": b"one"}, tmp_path)
    (tmp_path / "tune.abc").write_bytes(b"mine")
    (tmp_path / "tune.new.abc").write_bytes(b"also mine")
    run({"tune.abc": b"two"}, tmp_path)
    run({"tune.abc": b"three"}, tmp_path)
    assert (tmp_path / "tune.new.abc").read_bytes() == b"also mine"
    assert (tmp_path / "tune.new-2.abc").read_bytes() == b"three"
    assert visible(tmp_path) == ["tune.abc", "tune.new-2.abc", "tune.new.abc"]


def test_a_new_version_that_the_user_took_is_ours_again(tmp_path):
    run({"tune.abc": b"one"}, tmp_path)
    (tmp_path / "tune.abc").write_bytes(b"mine")
    run({"tune.abc": b"two"}, tmp_path)
    os.replace(tmp_path / "tune.new.abc", tmp_path / "tune.abc")
    assert not run({"tune.abc": b"three"}, tmp_path).beside
    assert visible(tmp_path) == ["tune.abc"]


def test_replace_keeps_the_users_file_beside(tmp_path):
    run({"tune.abc": b"one"}, tmp_path)
    for edit in (b"mine", b"mine again"):
        (tmp_path / "tune.abc").write_bytes(edit)
        run({"tune.abc": b"two"}, tmp_path, replace=True)
        assert (tmp_path / "tune.abc").read_bytes() == b"two"
    assert (tmp_path / "tune.yours.abc").read_bytes() == b"mine"
    assert (tmp_path / "tune.yours-2.abc").read_bytes() == b"mine again"


@pytest.mark.parametrize(
    "name", ["../victim.txt", "/victim.txt", "a/b", "..", ".hidden", "a\\b", "a\0b", "", "\ud800"]
)
def test_a_list_cannot_name_a_file_elsewhere(tmp_path, name):
    folder = tmp_path / "o"
    run({"tune.abc": b"one"}, folder)
    victim = tmp_path / "victim.txt"
    victim.write_bytes(b"precious")
    (folder / ".hidden").write_bytes(b"precious")
    listed = {**read_list(folder), name: hashlib.sha256(b"precious").hexdigest()}
    (folder / LIST_NAME).write_text(json.dumps(listed))
    assert not is_plain_name(name)
    run({"tune.abc": b"two"}, folder)
    assert victim.read_bytes() == (folder / ".hidden").read_bytes() == b"precious"
    assert set(read_list(folder)) == {"tune.abc"}


@pytest.mark.parametrize(
    "damage",
    [
        b"\0" * 100,
        b"garbage",
        b"[1, 2]",
        b"{" * 5000,
        b"[" * 200_000,
        b" " * 2_000_000,
        b"\xff\xfe",
    ],
    ids=["zeros", "words", "array", "open", "deep", "huge", "not utf-8"],
)
def test_a_damaged_list_loses_nothing(tmp_path, damage):
    run({"tune.abc": b"one", "tune.mid": b"m"}, tmp_path)
    (tmp_path / "tune.abc").write_bytes(b"mine")
    (tmp_path / LIST_NAME).write_bytes(damage)
    with pytest.raises(UsageError, match=r"\.written\.json in .* is damaged"):
        check_folder(tmp_path)
    run({"tune.abc": b"two", "tune.mid": b"m"}, tmp_path, replace=True)
    assert (tmp_path / "tune.yours.abc").read_bytes() == b"mine"
    assert (tmp_path / "written.damaged.json").read_bytes() == damage
    assert set(read_list(tmp_path)) == {"tune.abc", "tune.mid"}


def test_a_link_is_never_written_through(tmp_path):
    folder, outside = tmp_path / "o", tmp_path / "outside.txt"
    run({"tune.abc": b"one", "tune.mid": b"m"}, folder)
    outside.write_bytes(b"one")
    (folder / "tune.abc").unlink()
    (folder / "tune.abc").symlink_to(outside)
    (folder / "tune.mid").unlink()
    (folder / "tune.mid").symlink_to(tmp_path / "nowhere")
    run({"tune.abc": b"two", "tune.mid": b"n"}, folder)
    assert outside.read_bytes() == b"one"
    assert not (tmp_path / "nowhere").exists()
    assert (folder / "tune.new.abc").read_bytes() == b"two"
    assert (folder / "tune.abc").is_symlink()


def test_a_link_in_place_of_our_hidden_folder_is_refused(tmp_path):
    folder, outside = tmp_path / "o", tmp_path / "outside"
    run({"tune.abc": b"one"}, folder)
    outside.mkdir()
    (outside / "keep.txt").write_bytes(b"x")
    (folder / WRITING).symlink_to(outside)
    with pytest.raises(UsageError, match="move it away"):
        check_folder(folder)
    assert (outside / "keep.txt").exists()


def test_a_forged_plan_reaches_nothing_outside_and_no_file_without_its_copy(tmp_path):
    folder, victim = tmp_path / "o", tmp_path / "victim.txt"
    run({"tune.abc": b"one"}, folder)
    victim.write_bytes(b"precious")
    (folder / "mine.txt").write_bytes(b"precious")
    sha = hashlib.sha256(b"precious").hexdigest()
    (folder / WRITING).mkdir()
    plan = {"new": {"../victim.txt": sha}, "gone": {"../victim.txt": sha, "mine.txt": sha}}
    (folder / WRITING / "plan.json").write_text(
        json.dumps({**plan, "aside": {"../victim.txt": "v"}})
    )
    finish(folder)
    assert victim.read_bytes() == (folder / "mine.txt").read_bytes() == b"precious"
    assert not (folder / WRITING).exists()


def test_what_a_run_replaced_comes_back_and_goes_again(tmp_path):
    run({"tune.abc": b"one", "arrangement-2.json": b"{}", "same": b"s"}, tmp_path)
    run({"tune.abc": b"two", "same": b"s", "more.mid": b"m"}, tmp_path)
    run({"tune.abc": b"two", "same": b"s", "more.mid": b"m"}, tmp_path)  # changes nothing
    restore(tmp_path)
    assert visible(tmp_path) == ["arrangement-2.json", "same", "tune.abc"]
    assert (tmp_path / "tune.abc").read_bytes() == b"one"
    restore(tmp_path)
    assert visible(tmp_path) == ["more.mid", "same", "tune.abc"]
    assert (tmp_path / "tune.abc").read_bytes() == b"two"


def test_bringing_back_leaves_an_edit_alone(tmp_path):
    run({"tune.abc": b"one"}, tmp_path)
    run({"tune.abc": b"two"}, tmp_path)
    (tmp_path / "tune.abc").write_bytes(b"mine")
    assert restore(tmp_path).beside == {"tune.abc": "tune.new.abc"}
    assert (tmp_path / "tune.abc").read_bytes() == b"mine"
    assert (tmp_path / "tune.new.abc").read_bytes() == b"one"


def test_nothing_to_bring_back_is_said(tmp_path):
    with pytest.raises(UsageError, match="no earlier state"):
        restore(tmp_path)
    with pytest.raises(UsageError, match="is no folder"):
        restore(tmp_path / "gone")


def test_files_of_a_kind_that_is_left_out_stay(tmp_path):
    quiet = OutputOptions(sound=False, sheets=False, report=False)
    names = ["arrangement-1-drone.ogg", "tune.pdf", "report.html", "practice-1-drone-75.ogg"]
    assert all(is_left_out(name, quiet) for name in names)
    assert not any(is_left_out(name, quiet) for name in ("tune.abc", "arrangement-2.json"))
    assert is_of_tune("tune.abc")
    assert not is_of_tune("arrangement-1.json")
    run({"tune.abc": b"one", **dict.fromkeys(names, b"x")}, tmp_path)
    saved = run({"tune.abc": b"two"}, tmp_path, stays=lambda name: is_left_out(name, quiet))
    assert saved.stayed == tuple(sorted(names))
    assert visible(tmp_path) == sorted(["tune.abc", *names])
    run({"tune.abc": b"two", **dict.fromkeys(names, b"y")}, tmp_path)
    assert not [name for name in visible(tmp_path) if ".new" in name]


def test_one_new_file_takes_no_name_that_is_there(tmp_path):
    (tmp_path / "page.pdf").symlink_to(tmp_path / "nowhere")
    with pytest.raises(UsageError, match="is there already"):
        save_one(tmp_path / "page.pdf", b"x")
    (tmp_path / ".liltwright-a.pdf.part").write_bytes(b"of a killed run")
    save_one(tmp_path / "a.pdf", b"x")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.pdf", "page.pdf"]


def test_the_commands_keep_an_edit(tmp_path):
    """The reported case: edit, arrange the edit, edit, arrange it, arrange another tune."""
    root = Path(__file__).parents[2]
    tune, out = tmp_path / "other.abc", tmp_path / "o"
    shutil.copy(root / "fixtures" / "demo" / "tune.abc", tune)

    def arrange(source):
        quick = ("--no-sound", "--no-sheets", "--no-report")
        command = [sys.executable, "-m", "liltwright.cli", "arrange", source, "--out", out, *quick]
        return subprocess.run(command, cwd=root, capture_output=True, text=True, check=True).stdout

    arrange(tune)
    for word in ("first", "second"):
        with (out / "tune.abc").open("a") as file:
            file.write(f"% {word}\n")
        mine = (out / "tune.abc").read_bytes()
        arrange(out / "tune.abc")
        assert (out / "tune.abc").read_bytes() == mine
    said = arrange(tune)
    assert (out / "tune.abc").read_bytes() == mine
    assert "tune.abc is yours and stays as it is; the new version is tune.new.abc" in said
