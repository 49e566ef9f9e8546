"""A sentence names options on the command line and nowhere else."""

import pickle

import numpy as np
import pytest

from liltwright.cli_faults import typed, typed_remark
from liltwright.errors import PipelineError, UsageError, to_type
from liltwright.hear.audio.recording import Audio
from liltwright.hear.audio.stretch import only_between
from liltwright.hear.takes import choose_take
from liltwright.notate.effects import written_effects
from liltwright.notate.key.remarks import key_remarks
from liltwright.options import TuneOptions, guitars
from liltwright.read.abc import read_abc
from liltwright.run import find_tune
from liltwright.tune import Heard, KeyName, NoteEvent, Source
from liltwright.write.folder.save import check_folder

JIG = "X:1\nR:jig\nM:6/8\nK:D\nDFA d2A|BAG A2F|dBd efg|E3 D3|]\n"


def test_a_place_is_plain_words_or_what_is_typed():
    fault = UsageError(f"{to_type('from', 'the start')} 3 is late: name another{to_type('out')}.")
    assert str(fault) == "the start 3 is late: name another."
    assert typed(fault) == "--from 3 is late: name another with --out."
    again = pickle.loads(pickle.dumps(fault))
    assert (str(again), typed(again)) == (str(fault), typed(fault))


def test_an_error_without_places_is_the_same_for_all():
    fault = PipelineError("a tune | of two parts {x} is no tune.")
    assert str(fault) == typed(fault) == "a tune | of two parts {x} is no tune."


def test_a_folder_of_somebody_else(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(UsageError) as caught:
        check_folder(tmp_path)
    assert str(caught.value) == f"the folder {tmp_path} is not empty (mine.txt): choose another."
    assert typed(caught.value) == (
        f"the folder {tmp_path} is not empty (mine.txt): choose another with --out, "
        "or say --replace to write into it all the same."
    )


def test_a_stretch_outside_the_recording():
    audio = Audio(np.zeros(220500, np.float32), 22050, Source("x.wav", ""))
    with pytest.raises(UsageError) as caught:
        only_between(audio, 12.0, None)
    rest = "12 is out of range: the recording lasts 10.0 s; name a second before that."
    assert (str(caught.value), typed(caught.value)) == (f"the start {rest}", f"--from {rest}")


def test_an_option_of_recordings_for_a_written_tune(tmp_path):
    path = tmp_path / "jig.abc"
    path.write_text(JIG)
    with pytest.raises(UsageError) as caught:
        find_tune(path, TuneOptions(take=2))
    assert typed(caught.value) == f"--take is for recordings; {path} is a written tune."
    assert str(caught.value).startswith("the number of a tune is for recordings")


def test_a_tune_of_a_set_that_is_none():
    with pytest.raises(UsageError) as caught:
        guitars(None, ["3=2"], None, 2)
    assert typed(caught.value).startswith('--capo "3=2" names no tune of this set')
    assert str(caught.value).startswith('the capo "3=2" names no tune of this set')


def test_remarks_are_typed_as_they_are_meant():
    tune = read_abc(JIG, name="jig.abc")
    plain = list(written_effects(tune, "reel", 0))
    assert [typed_remark(one) for one in plain] == [
        "--octave 0 changes nothing: the tune is written in that octave already.",
        "--type reel does not fit the bars: it is written in 4/4 or 2/2, this tune in 6/8.",
    ]
    assert not any("--" in one for one in plain)


def test_the_other_tunes_of_a_recording_are_named_by_number():
    onsets = [0.3 * i + 20 * (i // 30) for i in range(60)]
    notes = tuple(NoteEvent(at, at + 0.25, 62 + i % 5) for i, at in enumerate(onsets))
    heard = choose_take(Heard(Source("a.wav", ""), notes), None)
    assert heard.warnings[-1] == "Tune 1 of 2 is written down; choose another by its number."
    assert typed_remark(heard.warnings[-1]).endswith("choose another with --take.")


def test_a_second_home_is_named_as_a_key():
    """A tune with two homes has the remark; others end as they are."""
    tune = read_abc(
        "X:1\nR:reel\nM:4/4\nL:1/8\nK:G\n"
        "|:G2BG dGBG|A2cA eAcA|G2BG dGBd|edcB A2A2:||:a2ea aeae|c2Ac eAcA|a2ea aeae|dBGB A2A2:|\n",
        name="reel.abc",
    )
    for key in (KeyName("A", "dorian"), KeyName("G", "major")):
        for remark in key_remarks(tune.parts, tune.bar_length, key):
            if remark.startswith("The home could also be"):
                assert remark.endswith(" writes it so.")
                assert ": --key " in typed_remark(remark)
            else:
                assert typed_remark(remark) == remark
