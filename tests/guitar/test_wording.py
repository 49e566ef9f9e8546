"""How a guitarist says numbers, and how far a ranking depends on its weights, in closed form."""

from types import SimpleNamespace

import numpy as np
import pytest

from liltwright import models
from liltwright.guitar.robustness import label, stability
from liltwright.guitar.score import FILE
from liltwright.guitar.wording import bar_words, key_words, number, string_words
from liltwright.tune import KeyName


def test_counts_are_words_up_to_twelve():
    assert [number(n) for n in (0, 1, 12, 13)] == ["no", "one", "twelve", "13"]


@pytest.mark.parametrize(
    ("numbers", "words"),
    [([6], "sixth string"), ([6, 1], "sixth and first strings"),
     ([6, 5, 4], "sixth, fifth and fourth strings")],
)  # fmt: skip
def test_strings_are_said_in_the_order_given(numbers, words):
    assert string_words(numbers) == words


@pytest.mark.parametrize(
    ("numbers", "words"),
    [([3], "bar 3"), ([3, 7], "bars 3 and 7"), ([3, 7, 12], "bars 3, 7 and 12"),
     (range(1, 8), "bars 1, 2, 3, 4, 5, 6 and others")],
)  # fmt: skip
def test_at_most_six_bars_are_named(numbers, words):
    assert bar_words(list(numbers)) == words


def test_a_major_key_is_its_tonic():
    assert (key_words("G", "major"), key_words("A", "dorian")) == ("G", "A dorian")


def setup(tuning: str, capo: int = 0, transpose: int = -12) -> SimpleNamespace:
    return SimpleNamespace(
        tuning=tuning, capo=capo, transpose=transpose, sounds_in=KeyName("E", "minor")
    )


def test_setups_have_short_names():
    assert label(setup("DADGAD", 5)) == "DADGAD, capo 5, an octave down"
    assert label(setup("standard", 0, 0)) == "standard, no capo, as written"
    assert label(setup("standard", 0, -3)) == "standard, no capo, in E minor"


def test_who_is_better_in_every_part_stays_first():
    parts = np.array([[3.0, 3.0], [2.0, 2.0], [1.0, 1.0], [0.5, 0.5], [0.1, 0.1]])
    top = tuple(setup(name) for name in ("one", "two", "three"))
    found = stability(parts, np.array([1.0, 2.0]), top, np.arange(5))
    assert list(found.values()) == [1.0, 1.0, 1.0]


def test_the_share_is_that_of_the_weights_that_keep_the_order():
    """Of two parts that count alike the fourth setup overtakes the third when the second part
    weighs more: for independent uniform weights about one, in half of all draws."""
    parts = np.array([[9.0, 9.0], [8.0, 8.0], [1.0, 0.0], [0.0, 1.0]])
    top = tuple(setup(name) for name in ("one", "two", "three"))
    found = stability(parts, np.array([1.0, 1.0]), top, np.arange(4))
    draws = models.read_json(FILE)["robustness"]["draws"]
    third = found["three, no capo, an octave down"]
    assert abs(third - 0.5) < 4 * np.sqrt(0.25 / draws)
    assert list(found.values())[:2] == [1.0, 1.0]
