"""What is hard, what changes when the tune comes again, which ornaments there are."""

from liltwright.read.finished import finished_from_bytes
from liltwright.records import to_json
from liltwright.unpick.unpicked import unpick
from liltwright.unpicking import page_lines

TUNE = (
    "d2f a2f", "g2e b2e", "d2f a2f", "e2c A2c", "d2f a2f", "g2e b2e", "a2g f2e", "d3 d3",
)  # fmt: skip
BASS = ("D3 A3",) * 8
OTHER = ("D3 A3", "G3 B3", *("D3 A3",) * 6)


def page(first, second):
    """Sixteen bars: the tune twice, each time over its own bass."""
    head = "X:1\nT:Twice\nM:6/8\nL:1/8\nR:jig\nK:D\nV:1 name=melody\nV:2 name=bass\n"
    bass = "|".join(bar.replace("D", "D,").replace("A", "A,").replace("G", "G,").replace("B", "B,")
                    for bar in (*first, *second))  # fmt: skip
    text = f"{head}V:1\n{'|'.join((*TUNE, *TUNE))}|]\nV:2\n{bass}|]\n"
    return unpick(finished_from_bytes(text.encode(), name="twice.abc"))


def test_a_stretch_that_comes_again_with_another_bass_is_named():
    found = page(BASS, OTHER)
    (change,) = found.page.made_of.changes
    assert (change.first, change.last, change.again) == (9, 16, 1)
    assert (change.tune, change.bass) == ((), (10,))
    assert "  bars 9-16 are bars 1-8 again, with another bass in bar 10" in list(page_lines(found))


def test_every_bar_has_one_grade():
    grades = page(BASS, OTHER).page.made_of.grades
    numbers = [*grades.easy, *grades.middle, *grades.hard]
    assert sorted(numbers) == list(range(1, 17))
    assert grades.hardest in numbers
    assert grades.moves_per_second > 0


def test_the_finger_that_stays_down_is_named():
    text = """\
Jig: One Finger

e|0-2-3-2-3-2-|3-2-0-0-2-0-|
B|------------|------------|
G|------------|------------|
D|------------|------------|
A|3-----3-----|0-----0-----|
E|------------|------------|
"""
    found = unpick(finished_from_bytes(text.encode(), name="down.txt"))
    (stay,) = found.page.made_of.stays
    assert (stay.string, stay.fret, stay.bars) == (5, 3, (1,))
    assert stay.finger in (1, 2, 3, 4)
    lines = list(page_lines(found))
    assert f"    finger {stay.finger} on string 5, fret 3: bar 1" in lines


def test_ornaments_are_named():
    text = """\
Jig: Two Slurs

e|0h2-3-5-3-2-|3p2-0-0-2-0-|
B|------------|------------|
G|------------|------------|
D|------------|------------|
A|0-----0-----|0-----0-----|
E|------------|------------|
"""
    found = unpick(finished_from_bytes(text.encode(), name="slurs.txt"))
    assert found.page.made_of.ornament_kinds == {"hammer-on": 1, "pull-off": 1}
    assert "  ornaments: 1 hammer-on, 1 pull-off" in list(page_lines(found))
    assert "ornament_kinds" in to_json(found.page)
