"""Play a written tune with exact timing: notes in closed form, no audio, no randomness."""

from __future__ import annotations

from liltwright.read.abc import read_abc
from liltwright.tune import Heard, NoteEvent, Source, Tune
from tests.benchmark.timeline import whole_round

JIG = """X:1
T:The Lamp in the Hall
M:6/8
L:1/8
R:jig
K:G
D|GBd gdB|cBA BGE|DGB AGA|BGE E2D|GBd gdB|cBA BGE|DGA BAF|G3 G2:|
|:e|dBG GBd|eac' b2a|gfe dBG|AcB A2d|gdB GBd|eac' b2g|fed cAF|G3 G2:|
"""
REEL = """X:2
T:The Salt Cart
M:4/4
L:1/8
R:reel
K:D
|:FA (3ABA BAFA|d2fd edBd|FA (3ABA BAFE|DEFD E2DE|
FA (3ABA BAFA|d2fd edBd|faef dBAF|EGFE D4:|
|:fa (3aba bafa|egfe dBAd|fa (3aba bafe|dfed B2AB|
fa (3aba bafa|egfe dBAF|GABd cdef|gece d4:|
"""
SLIP_JIG = """X:3
T:Three Legs of the Stool
M:9/8
L:1/8
R:slip jig
K:Edor
|:E2B BAG FED|E2B BAB dcA|E2B BAG FED|FAF DFA F2D:|
|:e2f gfe d2B|e2f gfe f2d|e2f gfe dBA|FAF DFA F2D:|
"""
SLIDE = """X:4
T:The Gate on the Hill
M:6/8
L:1/8
R:slide
K:G
|:d2B B2A|G2A B2d|e2d d2B|A3 A2B|d2B B2A|G2A B2d|e2d B2A|G3 G3:|
|:g2e d2B|e2d B2d|g2e d2B|A3 A2B|g2e d2B|e2d B2A|G2A B2A|G3 G3:|
"""
TRIPLET = 1 / 48


def tune_of(abc: str) -> Tune:
    """The written tune."""
    return read_abc(abc, name="test.abc")


def play(
    tune: Tune,
    *,
    beats_per_minute: float,
    rounds: int = 1,
    swing: float = 1.0,
    octaves: int = 0,
    begin_s: float = 0.7,
) -> Heard:
    """Every note exactly in time, held for nine tenths.

    beats_per_minute : of the tune's own beat. swing : long to short of the first two quavers of
    a pair (simple time) or of three (compound).
    """
    laid = whole_round(tune)
    assert laid is not None
    notes, bars = laid
    whole_s = 60 / beats_per_minute / float(tune.beat)
    start = min(float(notes[0].position), 0.0)
    times: list[tuple[float, float, int]] = []
    for which in range(rounds):
        for note in notes:
            at = float(note.position + which * bars * tune.bar_length)
            begin, end = (_bent(p, tune, swing) for p in (at, at + float(note.length)))
            times.append((begin, end, note.midi + 12 * octaves))
    return Heard(
        Source("test.wav", "0" * 64, 100.0),
        tuple(
            NoteEvent(
                begin_s + (begin - start) * whole_s,
                begin_s + (begin - start + 0.9 * (end - begin)) * whole_s,
                midi,
            )
            for begin, end, midi in times
        ),
    )


def _bent(position: float, tune: Tune, swing: float) -> float:
    """Score time as played: the first quaver of a group takes `swing` times the second."""
    compound = tune.meter.endswith("/8")
    group = 3 / 8 if compound else 1 / 4
    whole, inside = divmod(round(position * 96), round(group * 96))
    if inside % 3:
        return position  # triplets are even
    long = 2 * swing / (1 + swing) / 8
    quavers, rest = divmod(inside / 96, 1 / 8)
    edges = [0.0, long, 0.25, 0.375]
    low, high = edges[int(quavers)], edges[int(quavers) + 1] if quavers < 3 else 0.0
    return whole * group + low + (high - low) * rest * 8
