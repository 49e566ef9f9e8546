"""What the user says of a page goes before what the page says and what was guessed."""

import re

import pytest
from typer.testing import CliRunner

from liltwright import keys
from liltwright.cli import app
from liltwright.errors import PipelineError, UsageError
from liltwright.guitar.tunings import parse_tuning
from liltwright.read.finished import finished_from_bytes
from liltwright.tune import KeyName
from liltwright.tunefile import read_tune
from liltwright.unpick.finished import Known
from liltwright.unpick.unpicked import UnpickSettings, unpick
from liltwright.write.formats.midi import layer_to_midi
from liltwright.write.formats.musicxml import layer_to_musicxml
from liltwright.write.formats.tablature import layer_to_text
from tests.unpick.pages import page_of

PAGE = """\
Gate of the Weir (reel)
{head}
e|-0-2-3-5-3-2-|-0-----0-----|
B|-------------|-------------|
G|-------------|-------------|
D|-------------|-------------|
A|-0-----0-----|-0-----------|
E|-------------|-------------|
"""
DADGAD = parse_tuning("DADGAD")[1]


def known(text, name="a.txt", **said):
    said = Known(**said)
    read = finished_from_bytes(text.encode(), name=name, known=said)
    return unpick(read, settings=UnpickSettings(known=said))


def test_the_metre_of_a_typed_page_is_the_users():
    assert known(PAGE.format(head="Time: 4/4"), meter="6/8").tune.meter == "6/8"


def test_a_type_brings_its_metre_where_the_page_names_another():
    tune = known(PAGE.format(head=""), kind="jig").tune
    assert (tune.tune_type, tune.meter) == ("jig", "6/8")
    assert [note.length * 8 for note in tune.parts[0].bars[0]] == [1, 1, 1, 1, 1, 1]


def test_a_faulty_tuning_or_capo_in_words_does_no_harm_when_the_user_names_them():
    text = PAGE.format(head="Tuning: Wobbly Gate\nCapo 99")
    with pytest.raises(PipelineError):
        known(text)
    page = known(text, strings=DADGAD, capo=2).page
    assert (page.setup.strings_midi, page.setup.capo) == (DADGAD, 2)


def test_letters_upside_down_are_refused_all_the_same():
    turned = "\n".join(PAGE.format(head="").splitlines()[:1:-1]) + "\n"
    with pytest.raises(PipelineError, match="lowest string to the highest"):
        known(turned, strings=DADGAD)


@pytest.mark.parametrize(
    "written", [layer_to_musicxml, lambda *page: layer_to_text(*page).encode()]
)
def test_frets_stay_and_pitches_follow_the_tuning_and_capo(written):
    tune, arrangement = page_of("jig")
    read = finished_from_bytes(written(tune, arrangement, "fuller"), name="p")
    plain = unpick(read)
    higher = unpick(read, settings=UnpickSettings(known=Known(capo=read.capo + 2)))
    pairs = [
        (one, two)
        for a, b in zip(plain.page.layers[0].bars, higher.page.layers[0].bars, strict=True)
        for one, two in zip(a, b, strict=True)
    ]
    assert pairs
    assert all((a.string, a.fret, a.midi + 2) == (b.string, b.fret, b.midi) for a, b in pairs)
    assert higher.page.setup.sounds_in != plain.page.setup.sounds_in
    assert any(
        remark.endswith(f"as you said; the page says DADGAD, capo {read.capo}.")
        for remark in higher.tune.remarks
    )
    other = unpick(read, settings=UnpickSettings(known=Known(strings=parse_tuning("standard")[1])))
    assert other.page.setup.tuning == "standard"


def test_a_midi_page_is_barred_in_the_users_metre():
    tune, arrangement = page_of("reel")
    data = layer_to_midi(tune, arrangement, "plain-bass")
    said = Known(meter="2/4")
    read = finished_from_bytes(data, name="p.mid", known=said)
    found = unpick(read, settings=UnpickSettings(known=said))
    assert found.tune.meter == "2/4"
    assert len(found.tune.written_bars()) >= 2 * len(tune.written_bars()) - 2


def test_a_metre_of_other_bars_is_joined_or_refused():
    abc = "X:1\nT:T\nM:2/4\nL:1/8\nK:D\n[D,d]fad|[D,d]faf|[D,d]fad|[D,d]4|]\n"
    tune = known(abc, name="t.abc", meter="4/4").tune
    assert (tune.meter, tune.tune_type, len(tune.written_bars())) == ("4/4", "reel", 2)
    with pytest.raises(UsageError, match="do not divide"):
        known(abc, name="t.abc", meter="9/8")


def test_a_tablature_that_names_no_tuning_has_that_of_its_notes_and_frets():
    tune, arrangement = page_of("jig")
    assert arrangement.setup.tuning == "DADGAD"
    data = layer_to_musicxml(tune, arrangement, "fuller").decode()
    data = re.sub(r"<staff-details.*?</staff-details>", "", data, flags=re.DOTALL)
    read = finished_from_bytes(data.encode(), name="p")
    truth = finished_from_bytes(layer_to_musicxml(tune, arrangement, "fuller"), name="p")
    assert [[n.midi for n in bar.notes] for bar in read.bars] == [
        [n.midi for n in bar.notes] for bar in truth.bars
    ]
    setup = arrangement.setup
    assert (read.strings_midi, read.capo) == (setup.strings_midi, setup.capo)
    assert any("names no tuning" in remark for remark in read.remarks)


def test_the_command_takes_all_of_it_and_writes_a_report_without_a_ranking(tmp_path):
    page = tmp_path / "page.txt"
    page.write_text(PAGE.format(head="Time: 4/4"), encoding="utf-8")
    args = "--metre 6/8 --type jig --key D:mixolydian --tempo 99 --tuning DADGAD --capo 2"
    done = CliRunner().invoke(
        app, ["unpick", str(page), *args.split(), "--no-anew", "--no-sound", "--no-sheets"]
    )
    assert done.exit_code == 0, done.output
    tune = read_tune(tmp_path / "page" / "tune.json")
    assert (tune.meter, tune.tune_type, tune.beats_per_minute) == ("6/8", "jig", 99)
    assert (tune.tonic, tune.mode) == ("D", "mixolydian")
    report = (tmp_path / "page" / "report.html").read_text()
    assert '<section id="page"><h2>The finished page</h2>' in report
    assert "The finished page in stages" in report
    assert 'id="tunings"' not in report
    assert not (tmp_path / "page" / "tunings.json").exists()


def test_a_note_that_the_user_moves_is_moved_everywhere(tmp_path):
    page = tmp_path / "page.txt"
    page.write_text(PAGE.format(head="Time: 6/8"), encoding="utf-8")
    args = ["unpick", str(page), "--no-anew", "--no-sound", "--no-sheets"]
    plain, told = tmp_path / "plain", tmp_path / "told"
    for out, more in ((plain, []), (told, ["--part-of", "2:3/8:1=inner"])):
        done = CliRunner().invoke(app, [*args, "--out", str(out), *more])
        assert done.exit_code == 0, done.output
    one, two = (read_tune(out / "tune.abc") for out in (plain, told))
    assert [len(bar.notes) for bar in one.written_bars()] == [6, 2]
    assert [len(bar.notes) for bar in two.written_bars()] == [6, 1]
    assert "1 inner note" in done.output
    stages = [
        sorted(path.name[14:-4] for path in out.glob("arrangement-1-*.txt"))
        for out in (plain, told)
    ]
    assert "finished-bass" in stages[1]
    assert "finished-bass" not in stages[0]
    for name in ("unpicked.json", "report.html", "arrangement-1-melody.mid"):
        assert (plain / name).read_bytes() != (told / name).read_bytes(), name


def test_the_key_that_the_page_names_goes_up_with_the_capo():
    tune, arrangement = page_of("jig")
    read = finished_from_bytes(layer_to_text(tune, arrangement, "drone").encode(), name="p.txt")
    assert read.stated.key is not None
    found = unpick(read, settings=UnpickSettings(known=Known(capo=read.capo + 2)))
    assert KeyName(found.tune.tonic, found.tune.mode) == keys.transpose_key(read.stated.key, 2)
