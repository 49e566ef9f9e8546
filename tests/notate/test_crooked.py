"""Tunes with a bar that is longer or shorter than the metre. Truth is the page that was played."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from liltwright.notate.notate import notate
from liltwright.notate.renotate import renotate
from liltwright.notate.settings import NotateSettings
from liltwright.read.abc import read_abc
from liltwright.records import from_json, to_json
from liltwright.tune import Heard, NoteEvent, Source, Tune
from liltwright.write.formats.abc import tune_to_abc
from liltwright.write.formats.musicxml import tune_to_musicxml
from tests.benchmark.crooked import crooked_bars, layout, lengthened, shortened
from tests.notate.playing import JIG, REEL, SLIP_JIG, tune_of

SINGLE = """X:1
T:The Long Lane
M:4/4
L:1/8
R:reel
K:G
GABd g2fg|edBd efge|dBAB GEDE|GABc d4|
GABd g2fg|edBd efge|dBAG FGAF|G2B2 G4||
gfga b2ag|fdAd fdAd|efga bgfe|dBAc B4|
gfga b2ag|fdAd fdAd|egfe dcBA|G2B2 G4||
"""


def play(page: Tune, rounds: int = 2) -> Heard:
    """Every note exactly in time, held for nine tenths."""
    one = layout(page)
    assert one is not None
    whole_s = 60 / 104 / float(page.beat)
    start = min(float(one.notes[0].position), 0.0)
    notes = []
    for which in range(rounds):
        for note in one.notes:
            begin = float(note.position) + which * float(one.lines[-1]) - start
            end = begin + 0.9 * float(note.length)
            notes.append(NoteEvent(0.7 + begin * whole_s, 0.7 + end * whole_s, note.midi))
    return Heard(Source("test.wav", "0" * 64, 100.0), tuple(notes))


def printed(tune: Tune) -> list[tuple[F, list[tuple[int, F]]]]:
    return [(bar.length, [(n.midi, n.start) for n in bar.notes]) for bar in tune.written_bars()]


CROOKED = {
    "reel, a bar of two beats": shortened(tune_of(REEL), 0, 3, F(1, 2)),
    "reel, a bar of three beats": shortened(tune_of(REEL), 0, 2, F(1, 4)),
    "reel, a last note held on": lengthened(tune_of(REEL), 0, 3, F(1, 2), held=True),
    "reel, half a bar again": lengthened(tune_of(REEL), 1, 3, F(1, 2), held=False),
    "jig, half a bar": shortened(tune_of(JIG), 1, 4, F(3, 8)),
    "jig, three beats": lengthened(tune_of(JIG), 0, 5, F(3, 8), held=False),
    "slip jig, two beats": shortened(tune_of(SLIP_JIG), 0, 2, F(3, 8)),
    "slip jig, four beats": lengthened(tune_of(SLIP_JIG), 0, 2, F(3, 8), held=True),
}


@pytest.mark.parametrize("page", CROOKED.values(), ids=CROOKED)
def test_a_crooked_bar_is_printed_with_its_own_length(page: Tune) -> None:
    tune = notate(play(page))
    assert (tune.meter, tune.form, tune.rounds) == (page.meter, "AABB", 2)
    assert printed(tune) == printed(page)
    assert crooked_bars(tune) == crooked_bars(page)
    assert from_json(to_json(tune), Tune) == tune


@pytest.mark.parametrize("page", CROOKED.values(), ids=CROOKED)
def test_the_bars_heard_are_where_they_were_played(page: Tune) -> None:
    tune = notate(play(page))
    one = layout(page)
    assert one is not None
    whole_s = 60 / 104 / float(page.beat)
    begin = 0.7 - min(float(one.notes[0].position), 0.0) * whole_s
    lines = [line + one.lines[-1] * which for which in (0, 1) for line in one.lines[:-1]]
    bars = [bar for bar in tune.bars_heard if not (bar.notes and bar.notes[0].start > 0)]
    expected = [begin + float(line) * whole_s for line in lines]
    assert [bar.start_s for bar in bars] == pytest.approx(expected, abs=0.03)
    crooked = {length for _, _, length in crooked_bars(page)}
    long = [
        bar for bar in tune.bars_heard if bar.end_s - bar.start_s > 1.2 * whole_s * F(tune.meter)
    ]
    assert len(long) == (4 if max(crooked) > tune.bar_length else 0)


@pytest.mark.parametrize("page", CROOKED.values(), ids=CROOKED)
def test_written_as_abc_it_is_read_back_the_same(page: Tune) -> None:
    tune = notate(play(page))
    again = read_abc(tune_to_abc(tune), name="again.abc")
    assert printed(again) == printed(tune)
    assert crooked_bars(again) == crooked_bars(page)


@pytest.mark.parametrize("page", CROOKED.values(), ids=CROOKED)
def test_music21_reads_the_lengths_from_abc_and_musicxml(page: Tune) -> None:
    """Read back by music21 (Cuthbert & Ariza, ISMIR 2010), measures in quarter notes; from ABC it
    cuts a long bar after a full one."""
    import music21

    tune = notate(play(page))
    full = 4 * tune.bar_length
    usual = {full}
    if tune.parts[0].pickup:
        start = 4 * tune.parts[0].pickup[0].start
        usual |= {start, full - start}
    texts = {"abc": tune_to_abc(tune), "musicxml": tune_to_musicxml(tune).decode()}
    for name, text in texts.items():
        wanted = [4 * length for _, _, length in crooked_bars(page)]
        if name == "abc":
            wanted = [length - full if length > full else length for length in wanted]
        score = music21.converter.parseData(text, format=name)
        measures = score.parts[0].getElementsByClass("Measure")
        lengths = [F(measure.duration.quarterLength) for measure in measures]
        assert [length for length in lengths if length not in usual] == wanted, name


@pytest.mark.parametrize("by", [F(-1, 2), F(-1, 4), F(1, 2), F(1)])
@pytest.mark.parametrize("bar", [5, 13, 27, 40])
def test_a_slip_in_one_pass_makes_no_crooked_bar(by: F, bar: int) -> None:
    page = tune_of(REEL)
    heard = play(page)
    bar_s = 60 / 104 * 2
    line, by_s = 0.7 + bar * bar_s - 0.02, float(by) * bar_s
    notes = tuple(
        replace(n, onset_s=n.onset_s + by_s, offset_s=n.offset_s + by_s) if n.onset_s > line else n
        for n in heard.notes
        if not line + min(by_s, 0.0) < n.onset_s < line
    )
    notes = tuple(
        replace(n, offset_s=min(n.offset_s, after.onset_s))
        for n, after in zip(notes, (*notes[1:], notes[-1]), strict=True)
        if n is not notes[-1]
    )
    tune = notate(replace(heard, notes=notes))
    assert crooked_bars(tune) == []
    assert all(part.bar_lengths == () for part in tune.parts)


def test_plain_tunes_have_no_bar_lengths() -> None:
    for abc in (JIG, REEL, SLIP_JIG):
        tune = notate(play(tune_of(abc)))
        assert all(part.bar_lengths == () for part in tune.parts)
        assert all(end.bar_lengths == () for part in tune.parts for end in part.endings)


def test_a_tune_played_once_is_crooked_only_on_strong_evidence() -> None:
    page = tune_of(SINGLE)
    middle = shortened(page, 1, 3, F(1, 2))
    ((part, bar, length),) = crooked_bars(notate(play(middle, rounds=2)))
    ((_, where, wanted),) = crooked_bars(middle)
    assert (part, length) == (1, wanted)
    assert abs(bar - where) <= 1, "nothing but the melody tells which of two bars is the short one"
    near_the_end = shortened(page, 1, 6, F(1, 2))
    assert crooked_bars(notate(play(near_the_end, rounds=1))) == []


def test_a_crooked_tune_can_be_given_another_key() -> None:
    page = CROOKED["reel, a bar of two beats"]
    tune = notate(play(page))
    again = renotate(tune, NotateSettings(octave_shift=1))
    assert crooked_bars(again) == crooked_bars(page)
