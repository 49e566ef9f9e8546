"""The chords of a band, on chords in closed form under a tune that leaves them open."""

from dataclasses import replace
from fractions import Fraction

import numpy as np

from liltwright.arrange.chords import parse_symbol
from liltwright.backing import with_band_chords
from liltwright.banding import agreement, found_share, rests_on
from liltwright.read.abc import read_abc
from liltwright.tune import HeardBar, NoteEvent
from liltwright.units import midi_to_hz

RATE = 22050
BAR_S = 2.0
ROOTS = (50, 43, 45, 50) * 2
ABC = "X:1\nT:Open\nR:reel\nM:4/4\nL:1/8\nK:D\n" + "|:" + "A2A2 A2A2|" * 7 + "d8:|\n"


def heard_twice():
    """The tune as if it had been heard, both times through."""
    tune = read_abc(ABC, name="open")
    order = tune.performed_order()
    written = tune.written_bars()
    bars = tuple(
        HeardBar(k * BAR_S, (k + 1) * BAR_S, written[index].notes) for k, index in enumerate(order)
    )
    notes = tuple(
        NoteEvent(
            k * BAR_S + float(n.start) * BAR_S,
            k * BAR_S + float(n.start + n.length) * BAR_S,
            float(n.midi),
        )
        for k, bar in enumerate(bars)
        for n in bar.notes
    )
    return replace(tune, bars_heard=bars, heard=notes)


def sound(bars):
    """Sustained triads, one a bar."""
    out = []
    t = np.arange(int(BAR_S * RATE)) / RATE
    for k in range(bars):
        root = ROOTS[k % len(ROOTS)]
        out.append(
            sum(
                np.sin(2 * np.pi * float(midi_to_hz(np.array(float(root + s)))) * h * t) / h**2
                for s in (0, 7, 12, 16)
                for h in (1, 2, 3)
            )
        )
    return (0.05 * np.concatenate(out)).astype(np.float32)


def test_the_bands_chords_stand_over_the_tune():
    tune = heard_twice()
    found = with_band_chords(tune, sound(len(tune.bars_heard)), RATE)
    roots = {chord.bar: parse_symbol(chord.symbol).root for chord in found.chords_typed}
    right = [roots[bar] == ROOTS[bar] % 12 for bar in sorted(roots)]
    assert np.mean(right) >= 0.75
    assert found.parts == tune.parts


def test_a_written_tune_has_no_band():
    tune = read_abc(ABC, name="open")
    assert with_band_chords(tune, np.zeros(RATE, np.float32), RATE) == tune


def test_what_the_line_rests_on():
    tune = heard_twice()
    assert agreement(tune) == (16, 16)
    assert found_share(tune) == 1.0
    assert "100 %" in rests_on(tune)[0]
    hole = tuple(n for n in tune.heard if not 8.0 <= n.onset_s < 16.0)
    assert abs(found_share(replace(tune, heard=hole)) - 0.75) < 0.01
    other = replace(tune.bars_heard[0], notes=())
    assert agreement(replace(tune, bars_heard=(other, *tune.bars_heard[1:]))) == (15, 16)
    assert Fraction(1) == tune.bar_length
