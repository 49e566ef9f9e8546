"""What goes into the output folder, and what must never be lost there."""

import os
import resource
import subprocess
import sys

import pytest

from liltwright.cli_faults import typed
from liltwright.errors import PipelineError, UsageError
from liltwright.write.folder.save import check_folder, edited_by_user, remove_if_empty, save

ROOT_MAY_WRITE_ANYWHERE = hasattr(os, "geteuid") and os.geteuid() == 0


def test_a_missing_folder_is_made_and_files_go_straight_in(tmp_path):
    folder = tmp_path / "new" / "deeper"
    check_folder(folder)
    save({"tune.abc": b"X:1\n"}, folder)
    assert (folder / "tune.abc").read_bytes() == b"X:1\n"


def test_our_own_files_of_an_earlier_run_are_renewed_and_stale_ones_removed(tmp_path):
    save({"tune.abc": b"one", "arrangement-2.json": b"{}"}, tmp_path)
    check_folder(tmp_path)
    save({"tune.abc": b"two"}, tmp_path)
    visible = sorted(path.name for path in tmp_path.iterdir() if not path.name.startswith("."))
    assert visible == ["tune.abc"]
    assert (tmp_path / "tune.abc").read_bytes() == b"two"


def test_a_file_that_the_user_edited_stays_and_the_new_one_goes_beside(tmp_path):
    save({"tune.abc": b"one"}, tmp_path)
    (tmp_path / "tune.abc").write_bytes(b"mended by hand")
    assert edited_by_user(tmp_path / "tune.abc")
    check_folder(tmp_path)
    saved = save({"tune.abc": b"two"}, tmp_path)
    assert saved.beside == {"tune.abc": "tune.new.abc"}
    assert (tmp_path / "tune.abc").read_bytes() == b"mended by hand"
    assert (tmp_path / "tune.new.abc").read_bytes() == b"two"


def test_the_edited_file_that_is_the_input_is_kept(tmp_path):
    save({"tune.abc": b"one", "tune.json": b"{}"}, tmp_path)
    (tmp_path / "tune.abc").write_bytes(b"mended by hand")
    check_folder(tmp_path)
    save({"tune.abc": b"two", "tune.json": b"[]"}, tmp_path, keep=["tune.abc"])
    assert (tmp_path / "tune.abc").read_bytes() == b"mended by hand"
    assert (tmp_path / "tune.json").read_bytes() == b"[]"
    assert not (tmp_path / "tune.new.abc").exists()


def test_a_folder_with_other_things_in_it_is_refused_unless_told(tmp_path):
    (tmp_path / "holiday.jpg").write_bytes(b"x")
    with pytest.raises(UsageError, match=r"not empty \(holiday\.jpg\): choose another") as fault:
        check_folder(tmp_path)
    assert "--" not in str(fault.value)
    assert "or say --replace to write into it all the same." in typed(fault.value)
    check_folder(tmp_path, replace=True)


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "out").write_bytes(b"x")
    with pytest.raises(UsageError, match="is a file, not a folder"):
        check_folder(tmp_path / "out")


@pytest.mark.skipif(ROOT_MAY_WRITE_ANYWHERE, reason="root may write into any folder")
def test_a_folder_without_write_permission_is_refused(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(UsageError, match="cannot write into the folder"):
        check_folder(tmp_path / "out")


def test_a_folder_that_nobody_can_make_is_refused():
    with pytest.raises(UsageError, match="cannot write into the folder"):
        check_folder(__import__("pathlib").Path("/proc/liltwright/out"))


def test_a_folder_made_for_nothing_is_taken_away_again(tmp_path):
    made = check_folder(tmp_path / "a" / "b")
    remove_if_empty(made)
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_the_files_of_the_last_run_whole(tmp_path):
    """RLIMIT_FSIZE stands in for a full disk: the system refuses the write half-way (EFBIG)."""
    save({"report.html": b"old"}, tmp_path)
    script = (
        "import sys, pathlib; from liltwright.write.folder.save import save\n"
        "from liltwright.errors import PipelineError\n"
        "try: save({'a.txt': b'x', 'report.html': b'y' * 100_000}, pathlib.Path(sys.argv[1]))\n"
        "except PipelineError as fault: print(fault); sys.exit(1)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path)],
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000)),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert "no room on the disk" in done.stdout
    assert (tmp_path / "report.html").read_bytes() == b"old"
    assert sorted(path.name for path in tmp_path.iterdir()) == [".written.json", "report.html"]


def test_save_raises_our_own_error_when_the_folder_vanished(tmp_path):
    with pytest.raises(PipelineError, match="could not write into"):
        save({"a.txt": b"x"}, tmp_path / "gone")
