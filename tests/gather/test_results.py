"""Results at an fsspec address: in memory, and as a folder named by its address."""

import shutil

import pytest

from liltwright.errors import UsageError
from liltwright.gather.results import complete, drop, names, opened, put, save_at, take
from tests.gather.test_distributed import cluster  # noqa: F401
from tests.gather.test_gather import TUNE, gather, table

FILES = {"tune.json": b"{}", "tune.abc": b"X:1\n"}


@pytest.fixture
def address(request):
    """An empty place in memory."""
    place = f"memory://{request.node.name}"
    system, root = opened(place)
    if system.exists(root):
        system.rm(root, recursive=True)
    return place


def test_a_folder_is_complete_with_its_tune(address):
    assert complete(address) == frozenset()
    save_at({"tune.abc": b"X:1\n"}, f"{address}/tunes/half-0")
    save_at(FILES, f"{address}/tunes/whole-0")
    assert complete(address) == {"whole-0"}


def test_what_the_user_changed_at_an_address_stays(address):
    folder = f"{address}/tunes/a-0"
    save_at(FILES, folder)
    system, root = opened(folder)
    system.pipe_file(f"{root}/tune.abc", b"mine")
    for text in (b"X:2\n", b"X:3\n"):
        save_at(FILES | {"tune.abc": text}, folder)
        assert system.cat_file(f"{root}/tune.abc") == b"mine"
        assert system.cat_file(f"{root}/tune.json") == b"{}"
    assert system.cat_file(f"{root}/tune.new.abc") == b"X:3\n"


def test_a_shelf_holds_rows_until_they_are_taken(address, tmp_path):
    for shelf in (address, str(tmp_path)):
        assert names(shelf) == []
        put(shelf, "a.json", b"[1]", "me")
        assert (names(shelf), take(shelf, "a.json")) == (["a.json"], b"[1]")
        drop(shelf, "a.json")
        drop(shelf, "a.json")
        assert names(shelf) == []
        with pytest.raises(OSError, match=r"a\.json"):
            take(shelf, "a.json")


def test_an_address_of_no_known_kind_is_refused():
    with pytest.raises(UsageError, match="cannot be used"):
        opened("wobbly://gate")


@pytest.fixture
def archive(tmp_path):
    folder = tmp_path / "archive"
    folder.mkdir()
    for key in "DGA":
        (folder / f"{key}.abc").write_text(TUNE.replace("K:Dmix", f"K:{key}mix"))
    return folder


def test_folders_go_to_the_address_and_the_table_is_the_same(archive, tmp_path):
    here, there, far = tmp_path / "here", tmp_path / "there", tmp_path / "far"
    words = (archive, "--level", "tune", "--processes", "1")
    assert gather(*words, "--out", here)[0] == 0
    words = (*words, "--out", there, "--results", f"file://{far}")
    code, said, err = gather(*words)
    assert code == 0, err
    assert table(there) == table(here)
    folders = sorted(path.name for path in (far / "tunes").iterdir())
    assert folders == sorted(path.name for path in (here / "tunes").iterdir())
    for folder in folders:
        for path in (here / "tunes" / folder).iterdir():
            if not path.name.startswith("."):
                assert (far / "tunes" / folder / path.name).read_bytes() == path.read_bytes()
    assert not list((there / "tunes").iterdir())
    shutil.rmtree(far / "tunes" / folders[0])
    code, said, err = gather(*words)
    assert code == 0, err
    assert "2 done before" in said
    assert (far / "tunes" / folders[0] / "tune.json").exists()


def test_dask_workers_write_to_the_address(cluster, archive, tmp_path):  # noqa: F811
    there, far = tmp_path / "there", tmp_path / "far"
    code, said, err = gather(
        archive, "--out", there, "--level", "tune", "--engine", "dask", "--scheduler", cluster[0],
        "--batch", "2", "--results", f"file://{far}",
    )  # fmt: skip
    assert code == 0, err
    assert "3 tunes of 3 files" in said
    assert len(list((far / "tunes").glob("*/tune.json"))) == 3
    assert not list((far / ".gather" / "rows").rglob("*.json"))


def test_a_folder_is_no_address(archive, tmp_path):
    code, _, err = gather(archive, "--out", tmp_path / "o", "--results", tmp_path / "far")
    assert code == 2
    assert "is no address" in err
