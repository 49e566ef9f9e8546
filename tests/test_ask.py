"""The player's profile is asked for once, and wrong answers are explained."""

import pytest

from liltwright.ask import QUESTIONS, ask_player, shown, with_answer
from liltwright.errors import UsageError
from liltwright.guitar.player import Player


def test_pressing_return_everywhere_changes_nothing():
    assert ask_player(Player(), lambda question, old: old, print) == Player()


def test_a_wrong_answer_is_explained_and_asked_again():
    said: list[str] = []
    answers = iter(["seven", "7"])

    def ask(question: str, old: str) -> str:
        return next(answers) if question.startswith("Highest") else old

    assert ask_player(Player(), ask, said.append).highest_capo == 7
    assert said == ['highest_capo: "seven" is not a number; write one like 5 or 648.']


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [("tunings_used", "DADGAD, open G", ("DADGAD", "open G")), ("tunings_used", "none", ()),
     ("left_handed", "yes", True), ("scale_mm", "632.5", 632.5), ("open_strings", "like", "like")],
)  # fmt: skip
def test_answers_as_people_type_them(name, text, value):
    assert getattr(with_answer(Player(), name, text), name) == value


@pytest.mark.parametrize(
    ("name", "text"),
    [("tunings_used", "DADG"), ("left_handed", "maybe"), ("scale_mm", "3000"),
     ("string_set", "catgut"), ("present_tuning", "")],
)  # fmt: skip
def test_answers_that_make_no_sense(name, text):
    with pytest.raises(UsageError):
        with_answer(Player(), name, text)


def test_every_setting_is_asked_for_and_shown():
    from dataclasses import asdict

    assert {name for name, _ in QUESTIONS} | {"past_body"} == set(asdict(Player()))
    assert all(shown(Player(), name) for name, _ in QUESTIONS)
