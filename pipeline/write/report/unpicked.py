"""What report.html says of a finished page that was taken apart; text from outside is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

LEARN = "Learn each layer before the next; the melody keeps its fingering wherever it can."
STAGES = "Learn each stage before the next; the tune has the page's own fingering throughout."


def page_section(lines: Sequence[str]) -> str:
    """What a finished page is made of; nothing where none was taken apart."""
    if not lines:
        return ""
    listed = "".join(f"<li>{escape(line.strip())}</li>" for line in lines)
    return f'<section id="page"><h2>The finished page</h2><ul>{listed}</ul></section>'


def layers_heading(number: int, page: Sequence[str]) -> tuple[str, str] | None:
    """Heading and sentence over an arrangement beside a page; None where there is no page."""
    if not page:
        return None
    if number == 1:
        return "The finished page in stages", STAGES
    return "The bare tune arranged anew, in layers", LEARN
