"""Times in a recording as people write them, and who plays."""

import pytest

from liltwright import options
from liltwright.errors import UsageError


@pytest.mark.parametrize(
    ("text", "value"), [("75", 75.0), ("75.5", 75.5), ("1:15", 75.0), ("0:03.25", 3.25)]
)
def test_a_time_is_seconds_or_minutes_and_seconds(text, value):
    assert options.seconds(text) == value


@pytest.mark.parametrize("text", ["1:75", "-3", "soon", "1:2:3", ""])
def test_what_is_no_time_is_refused_in_one_sentence(text):
    with pytest.raises(UsageError, match="is no time in a recording"):
        options.seconds(text)


def test_who_plays_is_found_out_where_nobody_says():
    assert options.players(None) == "find out"
    assert options.players(True) == "band"
    assert options.players(False) == "solo"


@pytest.mark.parametrize("command", ["arrange", "listen"])
def test_every_word_about_a_band_reaches_the_job(command, monkeypatch):
    """The options come out of the command line as the records say they do."""
    from typer.testing import CliRunner

    from liltwright import jobs
    from liltwright.cli import app

    seen = []

    def job(*given, **named):
        seen.extend(given)
        raise UsageError("seen enough")

    monkeypatch.setattr(jobs, command, job)
    words = ["a.wav", "--band", "--from", "1:15", "--to", "160", "--take", "2", "--band-chords"]
    done = CliRunner().invoke(app, [command, *words])
    assert str(done.exception) == "seen enough"
    (known,) = [one for one in seen if isinstance(one, options.TuneOptions)]
    assert (known.players, known.from_s, known.to_s) == ("band", 75.0, 160.0)
    assert (known.take, known.band_chords) == (2, True)
