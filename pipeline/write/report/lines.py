"""The report's tables of bass lines to choose from.

In: Tune, Arrangement. Out: HTML: for each part a table, a row a line, a column a bar, with chords
and bass notes; the line that the layers are made of is marked.
"""

from __future__ import annotations

from html import escape

from liltwright.arrange.lines import bar_words
from liltwright.tab import Arrangement
from liltwright.tune import Tune


def lines_section(tune: Tune, arrangement: Arrangement, number: int) -> str:
    """Nothing where there are no lines to choose from."""
    if not arrangement.lines:
        return ""
    tables = "".join(_table(tune, arrangement, part) for part in range(len(tune.parts)))
    return (
        f'<section class="layer" id="lines-{number}"><h3>Bass lines to choose from</h3>'
        "<p>Three for every part, under the same fingers of the melody; of each bar the chords and "
        "the bass notes. Another can be taken for a part, as <code>B=still</code>, or in one round "
        f"of the performance.</p>{tables}</section>"
    )


def _table(tune: Tune, arrangement: Arrangement, part: int) -> str:
    written = tune.written_bars()
    bars = [i for i, bar in enumerate(written) if bar.part == part and bar.kind != "pickup"]
    name = tune.parts[part].name
    head = "".join(f'<th scope="col">{written[bar].number}</th>' for bar in bars)
    rows = []
    for line in arrangement.lines:
        taken = arrangement.picked.get(name, "steady") == line.name
        cells = []
        for bar in bars:
            chords, notes = bar_words(arrangement, line, bar)
            cells.append(f"<td><b>{escape(chords)}</b><br>{escape(notes)}</td>")
        mark = " (taken)" if taken else ""
        rows.append(f'<tr><th scope="row">{line.name}{mark}</th>{"".join(cells)}</tr>')
    return (
        f'<div class="card scroll" tabindex="0" role="region" aria-label="Bass lines of part '
        f'{escape(name)}, {part + 1} of {len(tune.parts)}"><table><caption>Part {escape(name)}'
        f'</caption><thead><tr><th scope="col">Bar</th>{head}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )
