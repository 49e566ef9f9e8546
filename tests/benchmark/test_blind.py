"""The blind page: four basses that two hands can play, in an order that the page does not tell."""

import json
import re

from tests.arrange.checker import hand_faults, layer_faults
from tests.arrange.samples import own
from tests.benchmark.blind import KINDS, PAGE, _tune_html, tally, versions


def test_every_version_has_the_melody_and_can_be_held():
    tune, made = versions(own("reel"))
    assert set(made) == set(KINDS)
    melodies = {
        tuple((n.start, n.midi) for bar in one.layers[0].bars for n in bar if n.part == "melody")
        for one in made.values()
    }
    assert len(melodies) == 1
    basses = {
        tuple((i, n.start, n.midi) for i, bar in enumerate(one.layers[0].bars) for n in bar
              if n.part == "bass")
        for one in made.values()
    }  # fmt: skip
    assert len(basses) == 4
    for one in made.values():
        for bar in one.layers[0].bars:
            for start in {note.start for note in bar}:
                held = [n for n in bar if n.start <= start < n.start + n.length]
                assert hand_faults(held, one.setup.capo) == []
    assert layer_faults(tune, made["ours"], made["ours"].layers[0]) == []


def test_the_page_does_not_say_which_is_which():
    tune, made = versions(own("jig"))
    shown = PAGE.replace("TUNES", _tune_html("t1", 1, tune, list(made.values())))
    words = re.sub(r'src="[^"]*"', "", shown)
    assert not any(kind in words for kind in ("ours", "roots", "drone", "random"))
    assert shown.count("<audio") == 4


def test_answers_are_counted_by_the_key():
    key = {"t1": ["drone", "ours", "roots", "random"], "t2": list(KINDS)}
    said = [
        {"t1": {"best": "2", "worst": "4"}, "t2": {"best": "1", "worst": ""}},
        json.loads('{"t1": {"best": "1", "worst": "4"}}'),
    ]
    found = tally(key, said)
    assert (found["ours best"], found["drone best"], found["random worst"]) == (2, 1, 2)
    assert found["answers"] == 3
    assert found["ours as often by chance"] == round(3 * 0.25**2 * 0.75 + 0.25**3, 4)
