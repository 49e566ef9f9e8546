"""From voices to layers: tab bars with grades, fallen-back bars, ornaments and remarks.

Task: put each voice under the melody, measure it, keep every bar within the wished limit.
In:   the melody as it is held, the voices of the layers, easiest first.
Out:  Layers.
Method: a bar above the limit of the wished effort is replaced by the same bar of the layer below,
    which fits because the melody is held alike in both and nothing but it crosses a bar line.
References: grades.py, ornaments.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from liltwright.arrange.grades import BarGrade, difficulty, grade_bar, within_limit
from liltwright.arrange.harmony import Harmony
from liltwright.arrange.moments import Tables
from liltwright.arrange.ornaments import add_ornaments
from liltwright.arrange.pinned import Pinned
from liltwright.arrange.remarks import layer_remarks, ornament_remarks
from liltwright.arrange.tab import Below, tab_bars, thumb_where_free
from liltwright.arrange.voices import Melody
from liltwright.errors import UsageError
from liltwright.guitar.hand import Hand
from liltwright.guitar.player import Player
from liltwright.guitar.plucking import Pluck
from liltwright.tab import LINE_NAMES, Chord, Layer, LayerName, Setup, TabBar
from liltwright.tune import Tune


@dataclass(frozen=True, slots=True)
class Ground:
    """What is arranged, on what, by whom."""

    tune: Tune
    setup: Setup
    player: Player
    pinned: Pinned = field(default_factory=Pinned)


@dataclass(frozen=True, slots=True)
class AddedVoice:
    """What a layer adds under the melody, and the chords that it means."""

    name: LayerName
    below: tuple[Below, ...]
    harmony: Harmony


@dataclass(frozen=True, slots=True)
class Voices:
    """The voices of all layers, easiest first, and the melody's plucking fingers in all of them."""

    plucks: tuple[Pluck, ...]
    voices: tuple[AddedVoice, ...]


def graded(
    ground: Ground,
    tables: Tables,
    melody: Melody,
    voices: Voices,
    effort: str,
) -> tuple[Layer, ...]:
    """The layers with their numbers and remarks; bars above the limit fall back a layer."""
    written = ground.tune.written_bars()
    hand = ground.player.hand
    shifted = _shifted_bars(tables, melody)
    layers: list[Layer] = []
    below: tuple[TabBar, ...] = ()
    alone: tuple[BarGrade, ...] = ()
    for voice in voices.voices:
        bars = list(
            tab_bars(
                tables.line,
                melody.stops,
                voices.plucks,
                voice.below,
                bars=len(written),
                transpose=ground.setup.transpose,
            )
        )
        grades = _bar_grades(ground, bars, hand)
        fallen = []
        for index, grade in enumerate(grades):
            if index in ground.pinned.kept:
                bars[index] = _kept_bar(ground, voice.name, index, bars[index])
            elif index in ground.pinned.own_bass:
                continue  # the user wants it, however hard it is
            elif alone and not within_limit(grade, alone[index], effort, hand):
                bars[index] = below[index]
                fallen.append(index)
        kept = _bar_grades(ground, bars, hand)
        alone, under, below = alone or kept, below, tuple(bars)
        layers.append(
            Layer(
                voice.name,
                below,
                _chords(ground, voice, below),
                difficulty(kept, shifted),
                layer_remarks(voice.name, ground.tune, ground.setup, under, below, fallen),
            )
        )
    return tuple(layers)


def thumbs_freed(layers: Sequence[Layer]) -> tuple[Layer, ...]:
    """The layers with the thumb back on the melody where no layer has a bass after all."""
    freed = thumb_where_free([layer.bars for layer in layers])
    return tuple(replace(layer, bars=bars) for layer, bars in zip(layers, freed, strict=True))


def ornamented(
    ground: Ground,
    tables: Tables,
    melody: Melody,
    layers: Sequence[Layer],
    effort: str,
    suggested: int = 0,
) -> tuple[Layer, ...]:
    """The layers with the tune's ornaments, measured anew.

    A bar that its ornaments make too hard in some layer keeps none.
    suggested : how many of the ornaments are none of the tune's own
    """
    hand = ground.player.hand
    plain = [layer.bars for layer in layers]
    dressed, left_out = add_ornaments(
        plain,
        ground.tune,
        ground.setup,
        tables.line,
        melody.stops,
        hand=hand,
        neck=int(tables.table.position.max()),
        pinned=ground.pinned,
    )
    hard = {
        index
        for bars, before in zip(dressed, plain, strict=True)
        for index, (now, then) in enumerate(
            zip(_bar_grades(ground, bars, hand), _bar_grades(ground, before, hand), strict=True)
        )
        if bars[index] != before[index] and not within_limit(now, then, effort, hand)
    }
    final = [
        tuple(before[i] if i in hard else bar for i, bar in enumerate(bars))
        for bars, before in zip(dressed, plain, strict=True)
    ]
    said = ornament_remarks(ground.tune, left_out, sorted(hard), suggested)
    shifted = _shifted_bars(tables, melody)
    return tuple(
        replace(
            layer,
            bars=bars,
            difficulty=difficulty(_bar_grades(ground, bars, hand), shifted),
            remarks=layer.remarks + said,
        )
        for layer, bars in zip(layers, final, strict=True)
    )


def _chords(ground: Ground, voice: AddedVoice, bars: Sequence[TabBar]) -> tuple[Chord, ...]:
    """The chords of a layer, those of kept bars as they were."""
    kept, earlier = ground.pinned.kept, ground.pinned.earlier
    found = voice.harmony.chords(bars)
    if earlier is None:
        return found
    if voice.name not in [layer.name for layer in (*earlier.layers, *earlier.lines)]:
        return found
    stay = [chord for chord in earlier.layer(voice.name).chords if chord.bar in kept]
    row = [*(chord for chord in found if chord.bar not in kept), *stay]
    return tuple(sorted(row, key=lambda chord: (chord.bar, chord.start)))


def _kept_bar(ground: Ground, name: LayerName, index: int, new: TabBar) -> TabBar:
    """A bar of the layer as it was; of a line that there was not, the new one.

    Raises UsageError where the layer was not there.
    """
    earlier = ground.pinned.earlier
    assert earlier is not None
    try:
        return earlier.layer(name).bars[index]
    except KeyError:
        if name in LINE_NAMES:
            return new
        raise UsageError(
            f"The arrangement whose bars are kept has no layer {name}: arrange once without keep."
        ) from None


def _bar_grades(ground: Ground, bars: Sequence[TabBar], hand: Hand) -> tuple[BarGrade, ...]:
    written = ground.tune.written_bars()
    return tuple(
        grade_bar(bar, one.length, ground.tune, ground.setup, hand)
        for bar, one in zip(bars, written, strict=True)
    )


def _shifted_bars(tables: Tables, melody: Melody) -> int:
    """How many bars see the hand change its position."""
    bars = set()
    for note in range(1, len(melody.stops)):
        if melody.stops[note].position != melody.stops[note - 1].position:
            bars.add(tables.line.notes[note].bar)
    return len(bars)
