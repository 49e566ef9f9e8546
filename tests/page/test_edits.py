"""Edits as plain functions: bars add up, nothing is lost, music21 reads what comes out.

music21 (Cuthbert and Ariza, ISMIR 2010) is the reader that nobody here wrote.
"""

import random
from dataclasses import replace
from fractions import Fraction
from itertools import chain

import pytest

import liltwright
from liltwright.errors import UsageError
from liltwright.page.bars import meter_changed
from liltwright.page.desk import State, applied
from liltwright.page.notes import span
from liltwright.tune import Doubt, Tune
from liltwright.write.formats.abc import tune_to_abc
from tests.page.conftest import DEMO
from tests.write.hand_made import heard_jig

JIG = "X:1\nT:Try\nR:jig\nM:6/8\nL:1/8\nQ:3/8=110\nK:D\n|:A|d2A FGA|B2A A2A|d2A FGA|G3 F2:|\n"
ENDINGS = "X:1\nM:4/4\nL:1/8\nR:reel\nK:G\n|:GABc d2d2|e2d2 B4|1 A2A2 A4:|2 G2G2 G4|]\n"


def tune_of(text: str) -> Tune:
    return liltwright.read(text.encode())


def do(tune: Tune, op: str, **more) -> Tune:
    return applied(State(tune), {"op": op, **more}).tune


def pitches(tune: Tune) -> list[int]:
    return [note.midi for bar in tune.written_bars() for note in bar.notes]


def bar(tune: Tune, place: int) -> list[tuple[int, str, str]]:
    notes = tune.written_bars()[place].notes
    return [(note.midi, str(note.start), str(note.length)) for note in notes]


@pytest.fixture
def jig() -> Tune:
    return tune_of(JIG)


def test_a_pitch_moves_by_steps_of_the_scale_and_by_semitones(jig):
    """D major: the step above A is B, the one below F sharp is E (any primer of notation)."""
    assert bar(do(jig, "pitch", bar=0, note=0, steps=1), 0)[0][0] == 71
    assert bar(do(jig, "pitch", bar=1, note=2, steps=-1), 1)[2][0] == 64
    assert bar(do(jig, "pitch", bar=1, note=2, semitones=1), 1)[2][0] == 67


def test_a_longer_note_takes_from_the_next_a_shorter_one_gives(jig):
    longer = do(jig, "length", bar=1, note=0, to="5/16")
    assert bar(longer, 1)[:2] == [(74, "0", "5/16"), (69, "5/16", "1/16")]
    swallowed = do(jig, "length", bar=1, note=0, to="3/8")
    assert [n[0] for n in bar(swallowed, 1)] == [74, 66, 67, 69]
    shorter = do(jig, "length", bar=1, note=0, to="1/8")
    assert bar(shorter, 1)[:2] == [(74, "0", "1/8"), (69, "1/8", "1/4")]
    with pytest.raises(UsageError, match="bar line"):
        do(jig, "length", bar=1, note=0, to="1")


def test_split_join_delete_insert(jig):
    split = do(jig, "split", bar=1, note=0)
    assert bar(split, 1)[:2] == [(74, "0", "1/8"), (74, "1/8", "1/8")]
    assert do(split, "join", bar=1, note=0).parts == jig.parts
    three = do(jig, "split", bar=4, note=0, into=3)
    assert bar(three, 4)[:3] == [(67, "0", "1/8"), (67, "1/8", "1/8"), (67, "1/4", "1/8")]
    assert bar(do(jig, "delete", bar=1, note=1), 1)[0] == (74, "0", "3/8")
    rest = do(jig, "delete", bar=1, note=1, rest=True)
    assert bar(rest, 1)[:2] == [(74, "0", "1/4"), (66, "3/8", "1/8")]
    filled = do(rest, "insert", bar=1, note=0, midi=69)
    assert filled.parts == jig.parts


def test_a_tie_over_the_bar_line_and_back(jig):
    tied = do(jig, "tie", bar=1, note=4)
    assert bar(tied, 1)[-1] == (69, "5/8", "3/8")
    assert bar(tied, 2)[0] == (69, "1/4", "1/8")
    assert pitches(do(tied, "tie", bar=1, note=4))[:6] == pitches(jig)[:6]
    with pytest.raises(UsageError, match="last note"):
        do(jig, "tie", bar=1, note=0)


def test_a_bar_begins_with_another_note_and_back_again(jig):
    """Notes keep their order; the pick-up and the last bar still make one bar together."""
    moved = do(jig, "bar-here", bar=1, note=1, all=True)
    assert pitches(moved) == pitches(jig)
    assert bar(moved, 1)[0][0] == 69
    assert moved.parts[0].pickup[0].start == Fraction(3, 8)
    first = next(i for i, b in enumerate(moved.written_bars()) if b.kind == "bar")
    back = do(moved, "pick-up", length="1/8")
    assert back.parts == jig.parts
    assert first == 1


def test_the_same_notes_in_another_metre(jig):
    twelve = meter_changed(jig, "12/8")
    assert pitches(twelve) == pitches(jig)
    assert [len(part.bars) for part in twelve.parts] == [2]
    assert meter_changed(twelve, "6/8").parts == jig.parts


def test_endings_are_folded_again_when_bar_lines_move():
    reel = tune_of(ENDINGS)
    moved = do(reel, "bar-here", bar=0, note=2)
    assert [end.times for end in moved.parts[0].endings] == [(1,), (2,)]
    played = [pitches_of(moved, i) for i in moved.performed_order()]
    before = [pitches_of(reel, i) for i in reel.performed_order()]
    assert list(chain(*played)) == list(chain(*before))
    assert do(moved, "pick-up", length="0").parts == reel.parts


def pitches_of(tune: Tune, index: int) -> list[int]:
    return [note.midi for note in tune.written_bars()[index].notes]


def test_parts_and_repeats():
    tune = liltwright.read(DEMO / "tune.abc")
    assert tune.form == "AABB"
    cut = do(tune, "part-here", bar=5)
    assert cut.form == "AABBCC"
    assert pitches(cut) == pitches(tune)
    assert do(cut, "join-part", part=0).parts == tune.parts
    assert do(tune, "repeats", part=1, times=1).form == "AAB"
    reel = tune_of(ENDINGS)
    once = do(reel, "repeats", part=0, times=1)
    assert [pitches_of(once, i) for i in once.performed_order()][-1] == [67, 67, 67]
    added = do(tune, "add-bar", bar=2, copy=True)
    assert bar(added, 3) == bar(tune, 2)
    assert do(added, "drop-bar", bar=3).parts == tune.parts


def test_key_type_tempo_title_and_chords(jig):
    assert do(jig, "key", to="A:mixolydian").signature == 2
    assert do(jig, "type", to="slide").tune_type == "slide"
    assert do(jig, "tempo", to=96).beats_per_minute == 96
    assert do(jig, "title", to="  Two \n words ").title == "Two words"
    chord = do(jig, "chord", bar=1, start="0", to="Em")
    assert [one.symbol for one in chord.chords_typed] == ["Em"]
    assert do(chord, "chord", bar=1, start="0", to="").chords_typed == ()
    with pytest.raises(UsageError):
        do(jig, "chord", bar=1, start="0", to="H9z")


def test_what_was_heard_follows_the_edit_and_its_doubt_is_gone():
    tune = heard_jig()
    written = tune.written_bars()
    first = next(i for i, one in enumerate(written) if one.number == 2)
    doubted = replace(tune, doubts=(Doubt(2, 1.0, "a note is unsure"), Doubt(5, 3.0, "another")))
    mended = do(doubted, "pitch", bar=first, note=0, steps=1)
    assert [doubt.bar for doubt in mended.doubts] == [5]
    assert mended.bars_heard[2].notes == mended.written_bars()[first].notes
    assert do(doubted, "right", first=5, last=5).doubts == (doubted.doubts[0],)


@pytest.mark.parametrize(
    "edit",
    [
        {"op": "pitch", "bar": 99, "note": 0, "steps": 1},
        {"op": "pitch", "bar": 1, "note": 99, "steps": 1},
        {"op": "pitch", "bar": True, "note": 0, "steps": 1},
        {"op": "pitch", "bar": 1, "note": 0, "steps": 10**9},
        {"op": "pitch", "bar": 1, "note": 0, "midi": 200},
        {"op": "length", "bar": 1, "note": 0, "to": "1/7"},
        {"op": "length", "bar": 1, "note": 0, "to": "1e9"},
        {"op": "length", "bar": 1, "note": 0, "to": "-1/8"},
        {"op": "split", "bar": 1, "note": 0, "into": 7},
        {"op": "repeats", "part": 0, "times": 10**6},
        {"op": "key", "to": "H:lydian"},
        {"op": "metre", "to": "17/3"},
        {"op": "tempo", "to": "NaN"},
        {"op": "title", "to": ""},
        {"op": "matters", "to": {"luck": 2}},
        {"op": "setup", "to": "../../etc:0:0"},
        {"op": "rounds", "to": "waltz"},
        {"op": "pin", "bar": 1, "note": 0, "string": 9},
        {"op": "__class__"},
        {"op": None},
        {},
    ],
    ids=str,
)
def test_nonsense_is_refused_with_a_sentence(jig, edit):
    with pytest.raises(UsageError) as caught:
        applied(State(jig), edit)
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize("seed", range(4))
def test_any_edits_leave_bars_that_add_up_and_that_music21_reads(seed):
    """300 random edits; then music21 reads the ABC and finds the same pitches in the same order."""
    import music21

    chance = random.Random(seed)
    state = State(liltwright.read(DEMO / "tune.abc"))
    done = 0
    for _ in range(300):
        try:
            state = applied(state, random_edit(state.tune, chance))
        except UsageError:
            continue
        done += 1
        for one in state.tune.written_bars():
            low, high = span(state.tune, one)
            spots = [low, *(s for n in one.notes for s in (n.start, n.start + n.length))]
            assert spots == sorted(spots)
            assert all(low <= note.start < high for note in one.notes)
    assert done > 150
    text = tune_to_abc(state.tune)
    again = liltwright.read(text.encode())
    assert pitches(again) == pitches(state.tune)
    score = music21.converter.parse(text, format="abc")
    found = [note.pitch.midi for note in score.flatten().notes
             if note.tie is None or note.tie.type == "start"]  # fmt: skip
    assert found == pitches(state.tune)


def random_edit(tune: Tune, chance: random.Random) -> dict:
    places = [i for i, one in enumerate(tune.written_bars()) if one.notes]
    place = chance.choice(places)
    note = chance.randrange(len(tune.written_bars()[place].notes))
    op = chance.choice(["pitch", "length", "split", "join", "delete", "insert", "pitch", "insert"])
    more = {"pitch": {"steps": chance.choice([-2, -1, 1, 2])},
            "length": {"to": chance.choice(["1/16", "1/8", "1/4", "3/8"])}}.get(op, {})  # fmt: skip
    return {"op": op, "bar": place, "note": note, **more}
