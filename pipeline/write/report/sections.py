"""The sections of report.html, each as HTML from records; all text from outside is escaped."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from liltwright.arrange.rounds import round_words
from liltwright.counting import count
from liltwright.doubts import (
    DoubtfulBars,
    bars_words,
    by_reason,
    doubtful_indices,
    grouped,
    printed_bars,
    ranges,
)
from liltwright.tab import Arrangement, Layer, Ranking
from liltwright.tune import Tune
from liltwright.words import best_words, describe_tune
from liltwright.write.cautions import printed_cautions
from liltwright.write.engrave.engraving import capo_words, layer_title, tuning_words
from liltwright.write.engrave.sheets import hardest_bars, heading_facts
from liltwright.write.formats.table import FORMATS, format_of
from liltwright.write.report.lines import lines_section
from liltwright.write.report.picture import PictureRow
from liltwright.write.report.player import Music, choices, music_html, player
from liltwright.write.report.unpicked import LEARN

SHOWN_DOUBTS = 8
"""More doubts than this are listed reason by reason."""
_PULSE = (
    '<svg class="pulse" viewBox="0 0 136 18" aria-hidden="true" fill="currentColor">'
    '<circle cx="9" cy="9" r="9"/><circle cx="48" cy="9" r="5.5"/><circle cx="74" cy="9" r="9"/>'
    '<circle cx="113" cy="9" r="5.5"/></svg>'
)


def masthead(
    tune: Tune,
    ranking: Ranking,
    arrangements: Sequence[Arrangement],
    *,
    page: Sequence[str] = (),
) -> str:
    """Title, the tune in one sentence, what the program is unsure of, and the way around."""
    lines = [f'<p class="lead">{escape(describe_tune(tune))}.</p>']
    if ranking.setups:
        arranged = next((one.setup for one in arrangements[bool(page) :]), None)
        lines.append(f"<p>{escape(best_words(ranking, arranged))}.</p>")
    lines += [f'<p class="note">{escape(text)}</p>' for text in (*tune.warnings, *tune.remarks)]
    links = [("tune", "The tune", True), ("heard", "What was heard", bool(tune.bars_heard)),
             ("page", "The finished page", bool(page)),
             ("tunings", "Tunings", bool(ranking.setups)),
             ("layers-1", "Layers", bool(arrangements)), ("files", "Files", True)]  # fmt: skip
    contents = "".join(
        f'<li><a href="#{target}">{words}</a></li>' for target, words, there in links if there
    )
    return (
        f'<header class="wrap masthead">{_PULSE}<h1>{escape(tune.title or "Untitled tune")}</h1>'
        f'{"".join(lines)}<p class="soft">From {escape(tune.source.file)}</p></header>'
        f'<nav class="contents" aria-label="Contents"><ul>{contents}</ul></nav>'
    )


def tune_section(
    tune: Tune, music: Music, score: Mapping[str, Any], *, chords_added: bool = False
) -> str:
    """The plain tune with the bars to check by ear."""
    facts = heading_facts(music.wide.sheet)
    if chords_added:
        facts.append("chords as in the arrangement")
    return (
        '<section id="tune"><h2>The tune</h2>'
        f"{_facts(facts)}"
        f"{player('tune', 'music-tune', 'the tune', choices(music.wide, tune, score), bass=False)}"
        f'<div class="card">{music_html(music, "music-tune", doubtful_indices(tune))}</div>'
        f"{_to_check(tune)}</section>"
    )


def _to_check(tune: Tune) -> str:
    """The doubtful bars, each to be heard; reason by reason where they are many."""
    groups = grouped(tune.doubts)
    if not groups:
        return ""
    printed, written = printed_bars(tune), tune.written_bars()

    def button(group: DoubtfulBars) -> str:
        words = group.words[:1].upper() + group.words[1:]
        return (
            f'<button type="button" class="hear" data-first="{group.first}" '
            f'data-last="{group.last}">{words}</button>'
        )

    def on_page(group: DoubtfulBars) -> str:
        bars = [bar for bar in range(group.first, group.last + 1) if bar in printed]
        pages = {written[printed[bar]].number for bar in bars} - {0}
        return f", {bars_words(ranges(pages))} on the page" if pages else ""

    few = len(groups) <= SHOWN_DOUBTS
    if few:
        listed = "".join(
            f"<li>{button(group)}{on_page(group)}: {escape(group.why)}</li>" for group in groups
        )
    else:
        listed = "".join(
            f'<li>{escape(why[:1].upper() + why[1:])}:<ul class="ranges">'
            f"{''.join(f'<li>{button(group)}</li>' for group in these)}</ul></li>"
            for why, these in by_reason(groups).items()
        )
    return (
        f"<details{' open' if few else ''}><summary>Check by ear: {len(tune.doubts)} of "
        f"{count(len(tune.bars_heard), 'bar')} played, marked with a question mark</summary>"
        f'<ul class="doubts">{listed}</ul></details>'
    )


def heard_section(
    tune: Tune, rows: Sequence[PictureRow], recording_url: str, *, longest_s: float
) -> str:
    """The picture of the recording, bar by bar, with both ways to listen."""
    if not rows:
        return ""
    ways = [("recording", "The recording"), ("after", "Recording, then the tune as written"),
            ("both", "Both, left and right ear"), ("tune", "The tune as written")]  # fmt: skip
    if not recording_url:
        ways = ways[-1:]
    radios = "".join(
        f'<label><input type="radio" name="listen" value="{value}"{" checked" if not at else ""}>'
        f"{words}</label>" for at, (value, words) in enumerate(ways)
    )  # fmt: skip
    whole = '<button type="button" id="heard-all">Play the recording</button>'
    sound = f'<audio id="recording" preload="auto" src="{recording_url}"></audio>'
    if recording_url and tune.source.duration_s > longest_s:
        sound += f"<p>This page holds the first {longest_s / 60:.0f} minutes of the recording.</p>"
    left_out = "".join(
        f"<li>{piece.start_s:.1f} to {piece.end_s:.1f} s left out: {escape(piece.why)}</li>"
        for piece in tune.left_out
    )
    return (
        '<section id="heard"><h2>What was heard</h2>'
        "<p>Dark bands are the sound, the green line its pitch, boxes the notes found (dashed: "
        "ornaments), upright lines the bar lines. Choose a bar to hear it; with the keyboard, walk "
        "with the arrow keys and press Enter.</p>"
        f'<div class="player"><fieldset class="player" style="border:0;padding:0;margin:0">'
        f'<legend class="skip">Hear a bar from</legend>{radios}</fieldset>'
        f"{whole if recording_url else ''}"
        '<button type="button" id="heard-stop">Stop</button>'
        '<label>Speed <input type="range" id="heard-speed" min="50" max="120" step="5" value="100">'
        "<output>100 %</output></label>"
        '<label><input type="checkbox" id="heard-loop">Loop</label>'
        f"{_part_choice(tune)}</div>"
        f"{sound if recording_url else ''}"
        '<div class="card scroll" tabindex="0" role="region" aria-label="What was heard">'
        f'<div class="rows">{"".join(row.svg for row in rows)}</div></div>'
        f"{f'<ul>{left_out}</ul>' if left_out else ''}</section>"
    )


def _part_choice(tune: Tune) -> str:
    """A choice of the parts as they were played, each to be heard or looped."""
    from liltwright.write.sound.practice import part_loops

    options = "".join(
        f'<option value="{1000 * loop.start_s:.0f}:{1000 * loop.end_s:.0f}">'
        f"{escape(loop.name)}</option>"
        for loop in part_loops(tune)
    )
    if not options:
        return ""
    return (
        f'<label>Part <select id="heard-part">{options}</select></label>'
        '<button type="button" id="heard-part-play">Play the part</button>'
    )


# ---------------------------------------------------------------- ranking


# ---------------------------------------------------------------- layers


def layers_section(
    tune: Tune,
    arrangement: Arrangement,
    number: int,
    music: Mapping[str, Music],
    scores: Mapping[str, Mapping[str, Any]],
    count: int,
    heading: tuple[str, str] | None = None,
) -> str:
    """Every layer of an arrangement, engraved and playable, then the performance.

    heading : instead of the usual heading and sentence
    """
    setup = arrangement.setup
    which = f" {number}" if count > 1 else ""
    parts = [
        _layer(tune, arrangement, layer, f"{number}-{layer.name}", at, music, scores)
        for at, layer in enumerate(arrangement.layers, start=1)
    ]
    rounds = ", then ".join(
        f"{round_words(r).replace('-', ' ')} ({r.dynamic})" for r in arrangement.rounds
    )
    whole = [("Whole performance", 0, scores[f"{number}-performance"]["bars"][-1][2])]
    cautions = printed_cautions(setup, arrangement.cautions)
    head, told = heading or (f"The arrangement{which} in layers", LEARN)
    return (
        f'<section id="layers-{number}"><h2>{head}</h2>'
        f"<p>{escape(tuning_words(setup))}, {capo_words(setup)}. {told}</p>"
        f'{"".join(parts)}<section class="layer performance"><h3>Performance</h3>'
        f"<p>{escape(rounds)}.</p>"
        f"{player(f'{number}-performance', '', 'performance', whole)}</section>"
        f"{lines_section(tune, arrangement, number)}"
        f'<div class="cautions">{"".join(f"<p>{escape(text)}</p>" for text in cautions)}</div>'
        "</section>"
    )


def _layer(
    tune: Tune,
    arrangement: Arrangement,
    layer: Layer,
    key: str,
    at: int,
    music: Mapping[str, Music],
    scores: Mapping[str, Mapping[str, Any]],
) -> str:
    hard = hardest_bars(tune, arrangement.setup, layer)
    notes = list(layer.remarks) + ([f"Practise first: {bars_words(ranges(hard))}."] if hard else [])
    item = music[key]
    title, parts = layer_title(layer.name), choices(item.wide, tune, scores[key])
    difficulty = _facts(_effort(layer.difficulty))
    return (
        f'<section class="layer" id="layer-{key}"><h3>{at}. {title}</h3>'
        f'<div class="note">{"".join(f"<p>{escape(text)}</p>" for text in notes)}</div>'
        f"{player(key, f'music-{key}', title, parts, bass=at > 1)}"
        f'<div class="card">{music_html(item, f"music-{key}", set())}</div>{difficulty}</section>'
    )


def _effort(difficulty: Mapping[str, float]) -> list[str]:
    """How hard a layer is, in words."""
    words = {
        "moves_per_second": lambda value: f"{value:.1f} moves of both hands a second",
        "largest_stretch_mm": lambda value: (
            f"widest stretch {value:.0f} mm" if value else "no stretch"
        ),
        "share_of_bars_with_shift": lambda value: (
            f"the hand shifts in {value:.0%} of the bars" if value else "no shift of the hand"
        ),
        "notes_at_once": lambda value: (
            f"up to {value:.0f} notes at once" if value > 1 else "one note at a time"
        ),
    }
    return [words[name](value) for name, value in difficulty.items() if name in words]


def _facts(facts: Sequence[str]) -> str:
    return '<ul class="facts">' + "".join(f"<li>{escape(fact)}</li>" for fact in facts) + "</ul>"


# ---------------------------------------------------------------- files


def downloads_section(files: Mapping[str, bytes]) -> str:
    """Links to the files beside the page by what they are for; small ones are in it as well."""
    if not files:
        return '<section id="files"><h2>Files</h2><p>No other files were written.</p></section>'
    groups = []
    for words in dict.fromkeys(kind.purpose for kind in FORMATS if kind.purpose):
        names = [name for name in sorted(files) if format_of(name).purpose == words]
        if names:
            links = "".join(f"<li>{_download(name, files[name])}</li>" for name in names)
            groups.append(f'<div><h3>{words}</h3><ul class="downloads">{links}</ul></div>')
    return (
        '<section id="files"><h2>Files</h2><p>They lie beside this page; those with “save” '
        f'are in the page too, should it travel alone.</p><div class="files">{"".join(groups)}'
        "</div></section>"
    )


def _download(name: str, data: bytes) -> str:
    kind = format_of(name)
    link = f'<a href="{escape(name)}">{escape(name)}</a>'
    if not kind.inside:
        return link
    return (
        f'{link} <a class="screen" download="{escape(name)}" '
        f'href="data:{kind.media};base64,{base64.b64encode(data).decode()}">'
        f'save<span class="skip"> {escape(name)}</span></a>'
    )
