"""report.html: the whole result on one self-contained page, to read, look at, listen and print.

Task: one file that opens from disk without a network and that a guitarist understands.
In:   Tune, Ranking, Arrangements; the recording's samples and engraved music if at hand.
Out:  HTML text. Everything that comes from the user or a file is escaped; a content security
    policy in the page forbids every request.
Method: sections by sections.py; sound as a bank of tones that the page plays
    itself (sound/bank.py) and the recording as mp3; look and player in
    assets/.
References: HTML Living Standard; WAI-ARIA 1.2 roles; Content Security Policy level 3.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from html import escape
from importlib.resources import files as resources
from typing import Any

import numpy as np

from liltwright.guitar.player import Player
from liltwright.options import Paper
from liltwright.tab import Arrangement, Ranking
from liltwright.tune import Tune
from liltwright.write.engrave.engraving import Engraved, engrave_layer, engrave_tune, narrowed
from liltwright.write.engrave.svg import glyph_sheet
from liltwright.write.formats.lead import with_chords
from liltwright.write.report.picture import heard_picture
from liltwright.write.report.player import Music
from liltwright.write.report.ranking import ranking_section
from liltwright.write.report.sections import (
    downloads_section,
    heard_section,
    layers_section,
    masthead,
    tune_section,
)
from liltwright.write.report.unpicked import layers_heading, page_section
from liltwright.write.sheet.timing import PlayedBar, clock_of, played_bars
from liltwright.write.sound.bank import PULSE_S, Bank
from liltwright.write.sound.encode import MP3_RATES, encode_audio, resampled
from liltwright.write.sound.pluck import SAMPLE_RATE
from liltwright.write.sound.synth import heard_melody_notes, layer_notes, melody_notes, played

LONGEST_RECORDING_S = 300.0
"""Longer recordings are cut in the report, to keep the file small."""
_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; "
    "img-src data:; media-src data: blob:; base-uri 'none'; form-action 'none'"
)


@dataclass(frozen=True, slots=True)
class Recording:
    """The sound that the tune was heard in: mono samples, -1 to 1."""

    samples: np.ndarray
    sample_rate: int


@dataclass(frozen=True, slots=True)
class Engravings:
    """Music engraved once for the sheets and the report; layers of each arrangement by name."""

    tune: Engraved
    layers: tuple[dict[str, Engraved], ...]


def engrave_all(
    tune: Tune, arrangements: Sequence[Arrangement], *, paper: Paper = "a4"
) -> Engravings:
    """The plain tune, with the chords of the first arrangement, and every layer."""
    layers: tuple[dict[str, Engraved], ...] = tuple(
        {
            str(layer.name): engrave_layer(tune, arrangement, layer.name, paper=paper)
            for layer in arrangement.layers
        }
        for arrangement in arrangements
    )
    return Engravings(engrave_tune(with_chords(tune, arrangements), paper=paper), layers)


def report_html(
    tune: Tune,
    ranking: Ranking,
    arrangements: Sequence[Arrangement],
    *,
    recording: Recording | None = None,
    engravings: Engravings | None = None,
    files: Mapping[str, bytes] | None = None,
    player: Player | None = None,
    page: Sequence[str] = (),
) -> str:
    """The page. `files` are those that stand beside it, for its links and downloads.

    page : what a finished page is made of, line by line, where one was taken apart
    """
    texts = files or {}
    engraved = engravings or engrave_all(tune, arrangements)
    bank = Bank()
    scores = _scores(tune, arrangements, bank)
    numbers = heard_numbers(tune)
    sound = _cut(recording)
    with ThreadPoolExecutor(1) as encoder:
        pending = encoder.submit(lambda: (bank.recording(), recording_url(sound)))
        music = _music(engraved)
        rows = heard_picture(
            tune, sound.samples if sound else None, sound.sample_rate if sound else 1, numbers
        )
        ranked = ranking_section(tune, ranking, player or Player())
        tones, sound_url = pending.result()
    sections = [
        tune_section(
            tune,
            music["tune"],
            scores["tune"],
            chords_added=bool(arrangements and not tune.chords_typed),
        ),
        heard_section(tune, rows, sound_url, longest_s=LONGEST_RECORDING_S),
        page_section(page),
        ranked,
        *(
            layers_section(
                tune,
                arrangement,
                number,
                music,
                scores,
                len(arrangements),
                layers_heading(number, page),
            )
            for number, arrangement in enumerate(arrangements, start=1)
        ),
        downloads_section(texts),
    ]
    drawings = [line for item in music.values() for line in (*item.wide.lines, *item.narrow.lines)]
    data = {
        "bank": base64.b64encode(tones).decode(),
        "tones": bank.tones(),
        "pulse_s": PULSE_S,
        "cents": round(tune.tuning_offset_cents, 1),
        "scores": scores,
    }
    head = glyph_sheet(drawings) + masthead(tune, ranking, arrangements, page=page)
    return _page(tune, head, sections, data)


def _music(engraved: Engravings) -> dict[str, Music]:
    """Engraved music by score name, with two bars on a line for small screens."""
    music = {"tune": Music(engraved.tune, narrowed(engraved.tune))}
    for number, layers in enumerate(engraved.layers, start=1):
        for name, item in layers.items():
            music[f"{number}-{name}"] = Music(item, narrowed(item))
    return music


def _scores(tune: Tune, arrangements: Sequence[Arrangement], bank: Bank) -> dict[str, Any]:
    """What each player on the page plays, by score name."""
    clock = clock_of(tune)
    bars = played_bars(tune, clock)
    written = tune.written_bars()
    notes = [
        note for bar in bars for note in melody_notes(written[bar.index].notes, bar.line_s, clock)
    ]
    scores = {"tune": bank.score(notes, bars) | _beats(tune, clock.seconds(tune.beat))}
    if tune.bars_heard:
        heard = bank.score(heard_melody_notes(tune), _heard_bars(tune))
        scores["heard"] = heard | _beats(tune, clock.seconds(tune.beat))
    for number, arrangement in enumerate(arrangements, start=1):
        clock = clock_of(tune, beats_per_minute=arrangement.beats_per_minute)
        names = [*(layer.name for layer in arrangement.layers), "performance"]
        for name in names:
            performed = played(tune, arrangement, name)
            order = [(bar.round - 1, bar.written) for bar in performed]
            bars = played_bars(tune, clock, order=order)
            notes = layer_notes(tune, arrangement, performed, clock, bars)
            scores[f"{number}-{name}"] = bank.score(notes, bars) | _beats(
                tune, clock.seconds(tune.beat)
            )
    return scores


def _beats(tune: Tune, beat_s: float) -> dict[str, float]:
    """What a count-in needs: beats in a bar, and those that a pick-up leaves of its bar."""
    first = tune.written_bars()[0]
    left = tune.bar_length - first.length if first.kind == "pickup" else Fraction(0)
    return {
        "beat_ms": 1000 * beat_s,
        "beats": max(int(tune.bar_length / tune.beat), 1),
        "lead_beats": float(left / tune.beat),
    }


def heard_numbers(tune: Tune) -> list[int]:
    """The number of each heard bar: full bars from 1, an incomplete pick-up bar is 0."""
    from liltwright.write.sound.practice import full_bars

    skipped = len(tune.bars_heard) - len(full_bars(tune))
    return [max(index - skipped + 1, 0) for index in range(len(tune.bars_heard))]


def _heard_bars(tune: Tune) -> list[PlayedBar]:
    numbers = heard_numbers(tune)
    return [
        PlayedBar(index, numbers[index], 0, 0, bar.start_s, bar.start_s, bar.end_s)
        for index, bar in enumerate(tune.bars_heard)
    ]


def _cut(recording: Recording | None) -> Recording | None:
    if recording is None or not len(recording.samples):
        return None
    longest = int(LONGEST_RECORDING_S * recording.sample_rate)
    return Recording(recording.samples[:longest], recording.sample_rate)


def recording_url(recording: Recording | None) -> str:
    """The recording as an mp3 in a data address; empty without one."""
    if recording is None:
        return ""
    rate = recording.sample_rate if recording.sample_rate in MP3_RATES else SAMPLE_RATE
    samples = resampled(recording.samples, recording.sample_rate, rate)
    peak = float(np.abs(samples).max(initial=0.0))
    mp3 = encode_audio(samples * (0.8 / peak if peak > 0 else 1.0), rate, "mp3")
    return "data:audio/mpeg;base64," + base64.b64encode(mp3).decode()


def _page(tune: Tune, head: str, sections: Sequence[str], data: Mapping[str, Any]) -> str:
    title = escape(tune.title or "Untitled tune")
    folder = resources("liltwright.write.report").joinpath("assets")
    style = folder.joinpath("report.css").read_text(encoding="utf-8")
    script = folder.joinpath("report.js").read_text(encoding="utf-8")
    inside = json.dumps(data, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
    return "\n".join([
        "<!doctype html>",
        '<html lang="en"><head><meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="referrer" content="no-referrer"><link rel="icon" href="data:,">',
        f"<title>{title}: tab, tunings and sound</title><style>{style}</style></head><body>",
        '<a class="skip" href="#tune">To the tune</a>',
        head,
        f'<main class="wrap" id="main">{"".join(sections)}</main>',
        '<div id="live" role="status" aria-live="polite" class="skip"></div>',
        f'<script type="application/json" id="data">{inside}</script>',
        f"<script>{script}</script></body></html>\n",
    ])  # fmt: skip
