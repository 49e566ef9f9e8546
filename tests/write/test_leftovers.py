"""What killed runs left of single files goes, and nothing that may be somebody's."""

from liltwright.write.folder.leftovers import clear_leftovers, part_name
from liltwright.write.folder.save import check_folder, save


def test_parts_under_our_own_name_go(tmp_path):
    (tmp_path / part_name("page.pdf")).write_bytes(b"half a p")
    (tmp_path / ".hidden").write_bytes(b"theirs")
    clear_leftovers(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [".hidden"]


def test_an_earlier_versions_part_goes_only_where_it_is_the_beginning_of_what_we_wrote(tmp_path):
    check_folder(tmp_path)
    save({"tune.abc": b"X:1\nK:D\n", "tune.mid": b"MThd"}, tmp_path)
    ours, theirs = tmp_path / ".tune.abc.123.part", tmp_path / ".tune.mid.123.part"
    ours.write_bytes(b"X:1\n")
    theirs.write_bytes(b"no beginning of it")
    strange = tmp_path / ".notes.txt.9.part"
    strange.write_bytes(b"of a file that we never wrote")
    clear_leftovers(tmp_path)
    assert not ours.exists()
    assert theirs.exists()
    assert strange.exists()


def test_of_an_edited_file_nothing_is_taken(tmp_path):
    check_folder(tmp_path)
    save({"tune.abc": b"X:1\nK:D\n"}, tmp_path)
    (tmp_path / "tune.abc").write_bytes(b"X:1\nK:G\n")
    part = tmp_path / ".tune.abc.5.part"
    part.write_bytes(b"X:1\n")
    clear_leftovers(tmp_path)
    assert part.exists()


def test_a_folder_of_that_name_stays(tmp_path):
    (tmp_path / part_name("x")).mkdir()
    clear_leftovers(tmp_path)
    assert (tmp_path / part_name("x")).is_dir()
