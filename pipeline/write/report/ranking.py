"""The report's table of tunings and capos, with reasons and charts; outside text is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from liltwright.errors import PipelineError
from liltwright.guitar.player import Player
from liltwright.tab import RankedSetup, Ranking
from liltwright.tune import Tune
from liltwright.words import near_words
from liltwright.write.engrave.engraving import capo_words, key_words, tuning_words

SHOWN_SETUPS = 8  # of the ranking; tunings.json has all
CHARTS = 3  # of the first setups


def ranking_section(tune: Tune, ranking: Ranking, player: Player) -> str:
    """The best setups as a table, as a picture, and as fretboard charts."""
    setups = ranking.setups[:SHOWN_SETUPS]
    if not setups:
        return ""
    chosen = ranking.chosen
    if chosen is not None and chosen not in setups:
        setups = (*setups, chosen)
    rows = "".join(_setup_row(setup, setups[0].score, asked=setup == chosen) for setup in setups)
    lower = "".join(f"<li>{escape(reason)}</li>" for reason in ranking.lower)
    near = f"; {near_words(ranking)}" if near_words(ranking) else ""
    below = f"<h3>Why others came lower</h3><ul>{lower}</ul>" if lower else ""
    return (
        '<section id="tunings"><h2>Where it sits on the guitar</h2>'
        f'<div class="card"><table class="ranking"><caption>The best of '
        f"{ranking.searched} tunings, capos and octaves tried{near}</caption><thead><tr>"
        '<th scope="col">Rank</th><th scope="col">Tuning and capo</th><th scope="col">Key</th>'
        '<th scope="col">Score</th><th scope="col">Why</th></tr></thead>'
        f"<tbody>{rows}</tbody></table></div>"
        f'<div class="card scroll" tabindex="0" role="region" aria-label="What the scores '
        f'are made of">{_dots(setups)}</div>{below}'
        f'<div class="charts">{"".join(_charts(tune, setups[:CHARTS], player))}</div></section>'
    )


def _setup_row(setup: RankedSetup, best: float, *, asked: bool) -> str:
    plain = setup.setup
    told = [reason for reason in setup.reasons if not reason.startswith("Sounds in")]
    why = "".join(f"<li>{escape(reason)}</li>" for reason in told)
    why += "".join(f'<li class="caution">{escape(text)}</li>' for text in setup.cautions)
    keys = f"sounds in {key_words(setup.sounds_in)}"
    if setup.capo:
        keys += f"<br>{escape(key_words(setup.shapes_in))} shapes"
    share = max(0.0, min(1.0, setup.score / best)) if best > 0 else 0.0
    return (
        f'<tr><td class="number">{setup.rank}.</td>'
        f'<th scope="row">{escape(tuning_words(plain))}<br>{capo_words(plain)}'
        f"{'<br>as you asked' if asked else ''}</th>"
        f'<td>{keys}</td><td class="number">{setup.score:.1f}'
        f'<span class="meter" aria-hidden="true"><i style="width:{100 * share:.0f}%"></i></span>'
        f"</td><td><ul>{why}</ul></td></tr>"
    )


def _dots(setups: Sequence[RankedSetup]) -> str:
    """Partial scores as discs: a full disc is the best there is."""
    names = list(setups[0].partial)
    left, top, step, row = 170, 74, 58, 30
    width, height = left + step * len(names), top + row * len(setups)
    drawn = [
        f'<text x="{left + step * i + step / 2:.0f}" y="{top - 18}" text-anchor="start" '
        f'transform="rotate(-35 {left + step * i + step / 2:.0f} {top - 18})">{escape(name)}</text>'
        for i, name in enumerate(names)
    ]
    for at, setup in enumerate(setups):
        y = top + row * at + 6
        label = f"{setup.rank}. {setup.tuning}" + (f", capo {setup.capo}" if setup.capo else "")
        drawn.append(f'<text x="0" y="{y + 4}">{escape(label)}</text>')
        for i, name in enumerate(names):
            x = left + step * i + step / 2
            radius = 10.5 * max(0.0, min(1.0, setup.partial.get(name, 0.0))) ** 0.5
            drawn.append(
                f'<circle class="ring" cx="{x:.0f}" cy="{y}" r="10.5"/>'
                f'<circle cx="{x:.0f}" cy="{y}" r="{radius:.1f}"/>'
            )
    words = "; ".join(
        f"{setup.tuning} capo {setup.capo}: "
        + ", ".join(f"{name} {value:.2f}" for name, value in setup.partial.items())
        for setup in setups[:3]
    )
    return (
        f'<svg class="dots" viewBox="0 0 {width} {height}" role="img" style="min-width:44rem" '
        f'aria-label="What each score is made of, 0 to 1. {escape(words)}">{"".join(drawn)}</svg>'
    )


def _charts(tune: Tune, setups: Sequence[RankedSetup], player: Player) -> list[str]:
    from liltwright.write.report.charts import fretboard_chart

    drawn = []
    for setup in setups:
        try:
            chart = fretboard_chart(tune, setup.setup, player=player)
        except PipelineError:
            continue
        words = f"{setup.rank}. {tuning_words(setup.setup)}, {capo_words(setup.setup)}"
        drawn.append(f"<figure>{chart}<figcaption>{escape(words)}</figcaption></figure>")
    return drawn
