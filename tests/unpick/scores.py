"""Scores by others that music21 carries, brought onto the guitar by our own search of places.

In:  a row of SCORES: where the score lies in music21's corpus, and what each of its staves is.
Out: Page with every note's true voice: the line of the singer, of the first violin or of the right
     hand is the tune, the lowest note of the bass staff the bass, everything else inner.
Method: the first BARS bars, moved by semitones until most notes lie on the fingerboard, the lowest
    an octave up. A note that doubles the tune is the tune. What no hand can hold is gone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from liltwright.errors import PipelineError
from liltwright.read.bars import ReadBar
from liltwright.read.written import Stated
from liltwright.tune import Source
from liltwright.unpick.finished import Finished, FinishedNote
from liltwright.unpick.page import Page
from tests.unpick.arrangers import blind, on_strings

BARS = 32
LOWEST, HIGHEST = 38, 78
SONG = ("tune", "upper", "lower")
PIANO = ("right", "lower")
QUARTET = ("tune", "inner", "inner", "lower")
SCORES = (
    ("songs with piano", "schubert/Lindenbaum", SONG),
    ("songs with piano", "schumann_robert/opus48no2", SONG),
    ("songs with piano", "liliuokalani/aloha_oe", SONG),
    ("keyboard", "mozart/k545/movement1_exposition", PIANO),
    ("keyboard", "schumann_clara/polonaise_op1n1", PIANO),
    ("keyboard", "schumann_clara/polonaise_op1n2", PIANO),
    ("trio and quartets", "corelli/opus3no1/1grave", ("tune", "inner", "lower")),
    ("trio and quartets", "haydn/opus1no1/movement2", QUARTET),
    ("trio and quartets", "mozart/k80/movement1", QUARTET),
    ("trio and quartets", "mozart/k155/movement2", QUARTET),
)


def score_pages() -> Iterator[tuple[str, list[str], Page]]:
    """Every score: its group and name, the true voice of each note, the page without voices."""
    for group, name, staves in SCORES:
        try:
            page = on_strings(score(name, staves), "drop D")
        except PipelineError:
            continue
        yield f"{group}: {name}", [one.note.voice for one in page.notes], blind(page, lengths=True)


def score(name: str, staves: Sequence[str]) -> Finished:
    """The beginning of a score as a page of pitches."""
    from music21 import corpus

    parsed = corpus.parse(name).stripTies()
    parts = list(parsed.parts)[: len(staves)]
    measures = [list(part.getElementsByClass("Measure"))[:BARS] for part in parts]
    time_signature = parts[0].recurse().getElementsByClass("TimeSignature").first()
    raw = []
    for index, first in enumerate(measures[0]):
        inside = [
            note
            for staff, mine in zip(staves, measures, strict=True)
            if index < len(mine)
            for note in _notes(mine[index], staff)
        ]
        raw.append((_once(inside), Fraction(first.duration.quarterLength) / 4))
    move = _move([note[1] for bar, _ in raw for note in bar])
    bars = tuple(
        ReadBar(
            tuple(
                FinishedNote(_raised(midi + move), start, length, voice=voice)
                for start, midi, length, voice in sorted(bar)
            ),
            long,
        )
        for bar, long in raw
        if long > 0
    )
    return Finished(Source(name, ""), Stated(title=name, meter=time_signature.ratioString), bars)


Raw = tuple[Fraction, int, Fraction, str]
"""Start, pitch, length and voice of a note."""


def _notes(measure, staff: str) -> Iterator[Raw]:
    groups: dict[Fraction, list[tuple[int, Fraction]]] = {}
    for one in measure.recurse().notes:
        length = Fraction(one.quarterLength) / 4
        start = Fraction(one.getOffsetInHierarchy(measure)) / 4
        if length > 0 and hasattr(one, "pitches"):
            groups.setdefault(start, []).extend((int(p.midi), length) for p in one.pitches)
    for start, struck in groups.items():
        low, high = min(struck), max(struck)
        for one in struck:
            voice = "inner"
            if staff == "tune" or (staff == "right" and one == high):
                voice = "melody"
            elif staff == "lower" and one == low:
                voice = "bass"
            yield start, one[0], one[1], voice


def _once(notes: Sequence[Raw]) -> list[Raw]:
    """Of notes with one pitch at one moment the tune's, else the bass's."""
    order = ("melody", "bass", "inner")
    kept: dict[tuple[Fraction, int], Raw] = {}
    for note in sorted(notes, key=lambda note: order.index(note[3])):
        kept.setdefault(note[:2], note)
    return list(kept.values())


def _move(pitches: Sequence[int]) -> int:
    return max(
        range(-14, 6),
        key=lambda steps: (sum(LOWEST <= midi + steps <= HIGHEST for midi in pitches), -abs(steps)),
    )


def _raised(midi: int) -> int:
    while midi < LOWEST:
        midi += 12
    return midi
