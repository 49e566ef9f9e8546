"""Music with its player, as HTML: the engraved lines, what can be played, the controls."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from liltwright.tune import Tune
from liltwright.write.engrave.engraving import Engraved
from liltwright.write.engrave.sheets import bars_label
from liltwright.write.engrave.svg import inline, marked


@dataclass(frozen=True, slots=True)
class Music:
    """The same music for a wide and for a narrow screen."""

    wide: Engraved
    narrow: Engraved


def music_html(music: Music, identifier: str, doubts: set[int]) -> str:
    """The lines of a sheet, twice: four bars on a line, and two for a small screen."""
    blocks = []
    for kind, item in (("wide", music.wide), ("narrow", music.narrow)):
        bars = item.sheet.bars
        places = {i for i, bar in enumerate(bars) if bar.written in doubts}
        lines = [inline(marked(line, places), bars_label(bars, line)) for line in item.lines]
        text = re.sub(
            r'data-bar="(\d+)"',
            lambda found, bars=bars: f'data-written="{bars[int(found[1])].written}"',  # type: ignore[misc]
            "".join(lines),
        )
        blocks.append(f'<div class="{kind}">{text}</div>')
    return f'<div class="music" id="{identifier}">{"".join(blocks)}</div>'


def choices(
    music: Engraved, tune: Tune, score: Mapping[str, Any]
) -> list[tuple[str, float, float]]:
    """What can be played: everything, each part, each line; name, begin and end in ms."""
    bars = score["bars"]
    found = [("Whole tune", bars[0][1], bars[-1][2])]
    for index, part in enumerate(tune.parts):
        mine = [bar for bar in bars if bar[4] == index]
        once = mine[: len(mine) // max(part.repeats, 1)]
        if once:
            found.append((f"Part {part.name}", once[0][1], once[-1][2]))
    for line in music.lines:
        written = [music.sheet.bars[index].written for index in line.bars]
        span = _span(bars, written)
        if span:
            found.append((bars_label(music.sheet.bars, line), *span))
    return found


def _span(bars: Sequence[Sequence[float]], written: Sequence[int]) -> tuple[float, float] | None:
    """When bars are first played one after another, as far as they are."""
    first = next((i for i, bar in enumerate(bars) if bar[0] == written[0]), None)
    if first is None:
        return None
    last = first
    for bar in written[1:]:
        if last + 1 < len(bars) and bars[last + 1][0] == bar:
            last += 1
    return bars[first][1], bars[last][2]


def player(
    score: str,
    music: str,
    words: str,
    choices: Sequence[tuple[str, float, float]],
    *,
    bass: bool = True,
) -> str:
    """The controls of one player; `words` name it for those who cannot see the page."""
    options = "".join(
        f'<option value="{begin:.0f}:{end:.0f}">{escape(name)}</option>'
        for name, begin, end in choices
    )
    balance = _slider("melody", "Melody", 0, 100, 100) + _slider("bass", "Bass", 0, 100, 100)
    return (
        f'<div class="player" data-score="{escape(score)}" data-music="{escape(music)}" '
        f'role="group" aria-label="Player, {escape(words)}">'
        '<button type="button" class="play">Play</button>'
        f'<label>Play <select name="what">{options}</select></label>'
        '<label>Speed <input type="range" name="speed" min="50" max="120" step="5" value="100">'
        "<output>100 %</output></label>"
        '<label><input type="checkbox" name="loop">Loop</label>'
        '<label><input type="checkbox" name="count">Count in</label>'
        f'{balance if bass else ""}<span class="soft" name="where"></span></div>'
    )


def _slider(name: str, words: str, low: int, high: int, value: int) -> str:
    return (
        f'<label>{words} <input type="range" name="{name}" min="{low}" max="{high}" step="5" '
        f'value="{value}"></label>'
    )
