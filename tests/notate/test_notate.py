"""From notes in time to the printed tune. Truth is the page that was played."""

from dataclasses import replace
from fractions import Fraction

import pytest

from liltwright.errors import PipelineError, UsageError
from liltwright.keys import parse_key
from liltwright.notate.notate import PAIRED, notate
from liltwright.notate.renotate import renotate
from liltwright.notate.settings import NotateSettings
from liltwright.records import from_json, to_json
from liltwright.tune import Bar, Heard, NoteEvent, Source, Tune
from tests.notate.playing import JIG, REEL, SLIDE, SLIP_JIG, play, tune_of


def content(bar: Bar) -> list[tuple[int, Fraction]]:
    return [(note.midi, note.start) for note in bar]


def printed(tune: Tune) -> list[list[tuple[int, Fraction]]]:
    return [content(bar.notes) for bar in tune.written_bars()]


@pytest.mark.parametrize(
    ("abc", "bpm", "swing", "kind", "meter", "form"),
    [
        (JIG, 112, 1.2, "jig", "6/8", "AABB"),
        (REEL, 100, 1.15, "reel", "4/4", "AABB"),
        (SLIP_JIG, 112, 1.2, "slip jig", "9/8", "AABB"),
    ],
)
def test_a_tune_played_twice_comes_back_as_it_was_printed(
    abc: str, bpm: float, swing: float, kind: str, meter: str, form: str
) -> None:
    page = tune_of(abc)
    tune = notate(play(page, beats_per_minute=bpm, rounds=2, swing=swing))
    assert (tune.tune_type, tune.meter, tune.form, tune.rounds) == (kind, meter, form, 2)
    assert (tune.tonic, tune.mode) == (page.tonic, page.mode)
    assert tune.beats_per_minute == pytest.approx(bpm, rel=0.02)
    assert tune.swing == pytest.approx(swing, rel=0.12)
    assert printed(tune) == printed(page)


def test_bars_as_performed_are_at_the_time_they_were_played() -> None:
    page = tune_of(REEL)
    tune = notate(play(page, beats_per_minute=100, begin_s=1.0))
    assert len(tune.bars_heard) == 32
    assert [bar.start_s for bar in tune.bars_heard] == pytest.approx(
        [1.0 + 1.2 * number for number in range(32)], abs=0.03
    )


def test_a_pick_up_comes_first_and_is_counted_from_its_full_bar() -> None:
    tune = notate(play(tune_of(JIG), beats_per_minute=112))
    assert content(tune.bars_heard[0].notes) == [(62, Fraction(5, 8))]
    assert content(tune.parts[0].pickup) == [(62, Fraction(5, 8))]
    assert content(tune.parts[1].pickup) == [(76, Fraction(5, 8))]


def test_a_low_hum_is_written_where_a_tune_book_prints_it() -> None:
    page = tune_of(JIG)
    tune = notate(play(page, beats_per_minute=100, octaves=-2))
    assert tune.octave_shift == 2
    assert printed(tune) == printed(page)


def with_a_wrong_note(rounds: int) -> tuple[Heard, NoteEvent]:
    """The jig with the twentieth note of the first pass two semitones too high."""
    heard = play(tune_of(JIG), beats_per_minute=112, rounds=rounds)
    wrong = list(heard.notes)
    wrong[20] = replace(wrong[20], midi=wrong[20].midi + 2)
    return replace(heard, notes=tuple(wrong)), wrong[20]


def test_a_wrong_note_in_one_pass_of_four_is_outvoted_and_no_doubt() -> None:
    heard, wrong = with_a_wrong_note(2)
    tune = notate(heard)
    assert printed(tune) == printed(tune_of(JIG))
    assert wrong.midi in [note.midi for bar in tune.bars_heard[:6] for note in bar.notes]
    assert not any(d.start_s <= wrong.onset_s < d.start_s + 1.2 for d in tune.doubts)


def test_two_passes_that_differ_are_doubted() -> None:
    heard, wrong = with_a_wrong_note(1)
    doubts = [d for d in notate(heard).doubts if d.start_s <= wrong.onset_s < d.start_s + 1.2]
    assert any("differ" in d.why for d in doubts)


def test_a_breath_between_phrases_does_not_move_the_bar_lines() -> None:
    page = tune_of(JIG)
    heard = play(page, beats_per_minute=112, rounds=2)
    at = next(i for i, n in enumerate(heard.notes) if n.onset_s > 9.0)
    late = tuple(
        replace(n, onset_s=n.onset_s + 0.3, offset_s=n.offset_s + 0.3) for n in heard.notes[at:]
    )
    tune = notate(replace(heard, notes=heard.notes[:at] + late))
    assert printed(tune) == printed(page)


def test_a_recording_that_breaks_off_still_gives_the_parts() -> None:
    page = tune_of(REEL)
    heard = play(page, beats_per_minute=100, rounds=2)
    end = 1.2 * (32 + 20)
    tune = notate(replace(heard, notes=tuple(n for n in heard.notes if n.onset_s < end)))
    assert tune.form == "AABB"
    assert printed(tune) == printed(page)


def test_ornaments_take_no_time_of_their_own() -> None:
    page = tune_of(JIG)
    heard = play(page, beats_per_minute=112)
    notes: list[NoteEvent] = []
    for number, note in enumerate(heard.notes):
        if number % 7 == 3:
            middle = note.onset_s + 0.04
            notes.append(
                replace(note, offset_s=middle, midi=note.midi + 2, role="ornament", ornament="cut")
            )
            note = replace(note, onset_s=middle, ornament="cut")
        notes.append(note)
    tune = notate(replace(heard, notes=tuple(notes)))
    assert printed(tune) == printed(page)


def test_too_few_notes_are_refused_in_one_sentence() -> None:
    heard = play(tune_of(JIG), beats_per_minute=112)
    with pytest.raises(PipelineError, match="Only 5 notes were heard"):
        notate(Heard(heard.source, heard.notes[:5]))


def test_what_the_user_fixes_is_kept_and_recorded() -> None:
    heard = play(tune_of(JIG), beats_per_minute=112)
    settings = NotateSettings(tune_type="slide", meter="12/8", key=parse_key("E minor"))
    tune = notate(heard, settings=settings)
    assert (tune.tune_type, tune.meter, tune.tonic, tune.mode) == ("slide", "12/8", "E", "minor")
    assert tune.overridden == {"tune_type": "slide", "meter": "12/8", "key": "E:minor"}
    assert from_json(to_json(tune), Tune) == tune


def test_the_first_bar_line_can_be_put_by_hand() -> None:
    heard = play(tune_of(JIG), beats_per_minute=112)
    third = heard.notes[3].onset_s
    tune = notate(heard, settings=NotateSettings(first_bar_s=third))
    assert min(abs(bar.start_s - third) for bar in tune.bars_heard) < 0.02
    assert (tune.meter, tune.tune_type) == ("6/8", "jig")


def test_a_first_bar_line_that_was_right_changes_nothing() -> None:
    heard = play(tune_of(JIG), beats_per_minute=112)
    free = notate(heard)
    for bar in free.bars_heard[1:4]:
        again = notate(heard, settings=NotateSettings(first_bar_s=bar.start_s + 0.03))
        assert (printed(again), again.form) == (printed(free), free.form)


def test_impossible_wishes_are_refused() -> None:
    heard = play(tune_of(JIG), beats_per_minute=112)
    with pytest.raises(UsageError, match="No jig is written in 4/4"):
        notate(heard, settings=NotateSettings(tune_type="jig", meter="4/4"))


def test_a_written_tune_takes_a_new_key_and_keeps_its_notes() -> None:
    page = tune_of(SLIP_JIG)
    tune = renotate(page, NotateSettings(key=parse_key("D major")))
    assert (tune.tonic, tune.mode, tune.signature) == ("D", "major", 2)
    assert printed(tune) == printed(page)
    assert (tune.candidates.key[0].tonic, tune.candidates.key[0].mode) == ("E", "dorian")


def test_a_written_tune_is_barred_anew_only_where_bars_divide() -> None:
    page = tune_of(REEL)
    halves = renotate(page, NotateSettings(meter="2/4"))
    assert [len(part.bars) for part in halves.parts] == [16, 16]
    assert printed(renotate(halves, NotateSettings(meter="4/4"))) == printed(page)
    with pytest.raises(UsageError, match="do not divide into bars of 6/8"):
        renotate(page, NotateSettings(meter="6/8"))


def test_no_octave_brings_a_note_out_of_the_range_of_midi() -> None:
    """A MIDI file of keys far apart, found by generated files, was written four octaves higher."""
    pitches = (0, 80, 0, 0, 0, 80, 0, 0, 0, 0, 80, 0, 0, 0, 0, 0)
    notes = tuple(NoteEvent(at / 4, at / 4 + 0.24, midi) for at, midi in enumerate(pitches))
    tune = notate(Heard(Source("keys.mid", "0" * 64), notes))
    written = [note.midi for bar in tune.written_bars() for note in bar.notes]
    assert 0 <= min(written) <= max(written) <= 127
    with pytest.raises(UsageError, match="out of the range of MIDI"):
        renotate(tune, settings=NotateSettings(octave_shift=9))


def test_a_tune_from_a_recording_can_be_read_again_another_way() -> None:
    tune = notate(play(tune_of(JIG), beats_per_minute=112))
    again = renotate(tune, NotateSettings(tune_type="slide"))
    assert again.tune_type == "slide"
    assert again.overridden["tune_type"] == "slide"
    assert renotate(again, NotateSettings(key=parse_key("G major"))).tune_type == "slide"


def test_ten_minutes_of_one_tune_fold_into_one_page() -> None:
    page = tune_of(JIG)
    tune = notate(play(page, beats_per_minute=112, rounds=15))
    assert (tune.form, tune.rounds) == ("AABB", 15)
    assert printed(tune) == printed(page)


def test_breaths_and_short_notes_leave_no_rests_and_no_endings() -> None:
    page = tune_of(JIG)
    heard = play(page, beats_per_minute=112, rounds=2)
    notes = tuple(
        replace(n, offset_s=n.onset_s + (0.14 if number % 3 else 0.9) * (n.offset_s - n.onset_s))
        if n.offset_s - n.onset_s > 0.25
        else n
        for number, n in enumerate(heard.notes)
    )
    tune = notate(replace(heard, notes=notes))
    assert printed(tune) == printed(page)
    assert [len(part.endings) for part in tune.parts] == [0, 0]
    lengths = [[n.length for n in bar.notes] for bar in tune.written_bars()]
    assert lengths == [[n.length for n in bar.notes] for bar in page.written_bars()]


def test_a_slide_says_that_it_may_be_written_in_twelve_eight() -> None:
    """Slides are written either way (common practice); who asked for a metre is not told again."""
    heard = play(tune_of(SLIDE), beats_per_minute=138, rounds=2)
    slide = notate(heard, settings=NotateSettings(tune_type="slide"))
    assert (slide.tune_type, slide.meter) == ("slide", "6/8")
    assert PAIRED in slide.remarks
    for meter in ("6/8", "12/8"):
        fixed = NotateSettings(tune_type="slide", meter=meter)
        assert PAIRED not in notate(heard, settings=fixed).remarks
    assert PAIRED not in notate(play(tune_of(JIG), beats_per_minute=112)).remarks
