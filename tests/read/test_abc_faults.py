"""Edited ABC that is not as it should be: said with bar and line, and nothing else is said."""

import pytest

from liltwright.read.abc import read_abc
from tests.read.books import tunes

HEAD = "X:1\nT:The Wet Gate\nR:jig\nM:6/8\nL:1/8\nK:D\n"


def said(body: str, head: str = HEAD) -> tuple[str, ...]:
    return read_abc(head + body, name="tune.abc").remarks


def test_a_bar_that_does_not_add_up_is_named_with_its_line():
    body = "A|DFA d2A|BAG A2F|dBd eg|E3 E2:|\nA|DFA d2A|BAG A2F|dBd efga|E3 E2:|\n"
    assert said(body) == (
        "Line 7, bar 3 does not add up: 5/8, a full bar is 6/8.",
        "Line 8, bar 7 does not add up: 7/8, a full bar is 6/8.",
    )


def test_a_last_bar_is_short_only_for_a_pickup():
    whole = "DFA d2A|BAG A2F|dBd efg|"
    assert said(f"{whole}E3 E2:|\n") == ("Line 7, bar 4 does not add up: 5/8, a full bar is 6/8.",)
    assert said(f"A|{whole}E3 E2:|\n") == ()


@pytest.mark.parametrize(
    "body",
    [
        "A|DFA d2A|BAG A2F|dBd efg|1 E3 E2A:|2 E3 E2|]\n",
        "|:A|DFA d2A|BAG A2F|dBd efg|E3 E2:|:A|DFA d2A|BAG A2F|dBd efg|E3 E2:|\n",
        "DFA d2A|BAG A2F|dBd|\nefg|E3 E3|]\n",
        "DFA d2A|BAG A2F|dBd efg|E3:|:E3|DFA d2A|BAG A2F|dBd efg|E3 :|\n",
        "DFA d2A BAG A2F|dBd efg|E3 z3|]\n",
        "DFA d2A|[M:9/8]BAG A2F G3|[M:6/8]dBd efg|E3 E3|]\n",
        '"D"DFA !trill!d2A|{c}BAG (A2F)|~d3 e2f|.E3 y vE3-|E6|]\n',
    ],
)
def test_bars_as_tune_books_print_them_are_not_named(body):
    assert said(body) == ()


def test_free_metre_has_no_bars_that_do_not_add_up():
    assert said("DFA d|BAG|dBd efgab|\n", HEAD.replace("M:6/8", "M:none")) == ()


def test_the_second_ending_counts_like_the_first():
    body = "DFA d2A|BAG A2F|1 E3 E2:|2 E3 E2A A|]\n"
    assert [words.split(" does")[0] for words in said(body)] == ["Line 7, bar 3", "Line 7, bar 3"]


def test_stray_letters_are_named_with_bar_and_line():
    assert said("DFA d2A|BAG Ah2F|\ndBd e?g|E3 E3|]\n")[:2] == (
        'Line 7, bar 2: "h" and "2" are not understood and left out.',
        'Line 8, bar 3: "?" is not understood and left out.',
    )


def test_signs_that_the_tune_defines_are_no_stray_letters():
    assert said("U:k = !fermata!\nDFA kd2A|BAG A2F|dBd efg|E3 E3|]\n") == ()


def test_unknown_fields_and_lines_before_the_key_are_named():
    head = HEAD.replace("R:jig", "R:jig\nY:me\nslowly").replace("L:1/8", "L:long")
    assert said("DFA d2A|BAG A2F|\nJ:x\ndBd efg|E3 E3|]\n", head)[:4] == (
        'Line 4: "Y:" is no field of ABC; it is passed over.',
        "Line 5 stands before K: and is no field; it is passed over.",
        '"L:long" is no note length; 1/8 is taken.',
        'Line 10: "J:" is no field of ABC; it is passed over.',
    )


def test_lines_are_counted_from_the_top_of_the_file():
    second = read_abc(
        f"{HEAD}A6|]\n\n{HEAD.replace('X:1', 'X:2')}A6|A5|A6|]\n", name="b", tune_number=2
    )
    assert second.remarks == ("Line 15, bar 2 does not add up: 5/8, a full bar is 6/8.",)


def test_many_faults_are_counted():
    assert said("DFA d2|" * 12 + "\n")[-1] == "There are 4 more bars that do not add up."


def test_tune_books_are_mostly_in_order():
    faulty = [tune for tune in tunes() if any("add up" in words for words in tune.remarks)]
    assert len(faulty) < 0.07 * len(tunes())
