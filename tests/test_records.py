"""Records survive JSON, and nonsense in a hand-edited file is named."""

import json
from dataclasses import replace
from fractions import Fraction as F

import pytest

from liltwright.errors import PipelineError
from liltwright.records import from_json, to_json
from liltwright.tune import Ending, NoteEvent, Part, Restrike, ScoreNote, Source, Tune
from liltwright.tunefile import tune_from_bytes


def _note(midi, start, length):
    return ScoreNote(midi, F(start), F(length))


def _tune() -> Tune:
    """A jig of one bar and a half: pick-up, a bar, first and second ending."""
    bar = (_note(66, "0", "3/8"), _note(69, "3/8", "3/8"))
    endings = (Ending((1,), ((_note(62, "0", "5/8"),),)), Ending((2,), ((_note(62, "0", "3/4"),),)))
    part = Part("A", 2, (_note(57, "5/8", "1/8"),), (bar, bar), endings)
    return Tune(
        Source("hum.ogg", "0" * 64, 4.5), "jig", "6/8", F(3, 8), 112.0, "D", "mixolydian", 1,
        (part,), "AA", heard=(NoteEvent(0.5, 0.8, 66.02, 0.93),),
    )  # fmt: skip


def test_a_tune_comes_back_as_it_was():
    assert from_json(to_json(_tune()), Tune) == _tune()


def test_the_same_record_gives_the_same_text():
    assert to_json(_tune()) == to_json(from_json(to_json(_tune()), Tune))


def test_format_and_version_stand_first():
    assert to_json(_tune()).startswith('{\n "format": "liltwright-tune",\n "version": 1')


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [('"5/8"', '"5/x"', r'"5/x" is not a fraction'),
     ('"parts"', '"pieces"', "missing required field `parts`"),
     ('"version": 1', '"version": 7', "Invalid enum value 7")],
)  # fmt: skip
def test_a_fault_of_the_hand_is_named_with_its_place(old, new, says):
    with pytest.raises(PipelineError, match=rf"mine\.json is not a tune .*{says}"):
        from_json(to_json(_tune()).replace(old, new, 1), Tune, name="mine.json")


def test_a_tune_type_that_is_not_known_is_refused_where_tunes_are_read():
    data = to_json(_tune()).replace('"jig"', '"jug"').encode()
    with pytest.raises(PipelineError, match='mine has the tune type "jug": write one of reel, jig'):
        tune_from_bytes(data, name="mine")


def test_a_note_cannot_end_before_it_begins():
    with pytest.raises(ValueError, match="not after its onset"):
        NoteEvent(1.0, 1.0, 60.0)


def test_written_bars_count_like_a_tune_book():
    kinds = [(bar.kind, bar.number, bar.length) for bar in _tune().written_bars()]
    assert kinds == [
        ("pickup", 0, F(1, 8)), ("bar", 1, F(3, 4)), ("bar", 2, F(3, 4)),
        ("ending", 3, F(3, 4)), ("ending", 3, F(3, 4)),
    ]  # fmt: skip


def test_one_round_takes_the_repeat_with_its_own_ending():
    assert _tune().performed_order() == (0, 1, 2, 3, 0, 1, 2, 4)


def test_crooked_bars_keep_their_own_length():
    part = replace(_tune().parts[0], bar_lengths=(F(3, 4), F(9, 8)))
    assert replace(_tune(), parts=(part,)).written_bars()[2].length == F(9, 8)


def test_moments_of_doubt_come_back_and_a_file_without_them_is_read():
    tune = _tune()
    (note,) = tune.heard
    doubtful = replace(tune, heard=(replace(note, again=(Restrike(0.65, 0.2),)),))
    assert from_json(to_json(doubtful), Tune) == doubtful
    old = json.loads(to_json(tune))
    assert old["heard"][0].pop("again") == []
    assert from_json(json.dumps(old), Tune) == tune
