"""Measures of the music: register, promises, chords that sound, a bass that walks.

What is counted is written beside each function; `shares` names the figures. Common practice among
players unless a source is named. Chords are compared with what sounds from one main beat to the
next, the melody with it; a bass note after a slash counts as named.
"""

from __future__ import annotations

import re
from collections import Counter
from fractions import Fraction

from liltwright.arrange.chords import ChordTones, parse_symbol
from liltwright.bassbeats import pulse_of
from liltwright.tab import Arrangement, Layer, RankedSetup, TabNote
from liltwright.tune import Tune

ORDINALS = {"first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6}
THUMB = (4, 5, 6)
STEPS_AND_FIFTHS = (1, 2, 5, 7)
"""A fourth is a fifth upside down."""
PLACES = 8
"""Bars of a usual part."""


def main_beats(tune: Tune) -> list[tuple[int, Fraction, Fraction]]:
    """Bar, start and end of everything between one main beat and the next."""
    found = []
    for index, bar in enumerate(tune.written_bars()):
        starts = [b for b in pulse_of(tune).main if bar.kind != "pickup" and b < bar.length]
        if starts:
            ends = [*starts[1:], bar.length]
            found += [(index, a, b) for a, b in zip(starts, ends, strict=True)]
    return found


def chord_over(layer: Layer, bar: int, start: Fraction) -> ChordTones | None:
    """The chord printed for a moment."""
    here = [c for c in layer.chords if c.bar == bar and c.start <= start]
    return parse_symbol(here[-1].symbol) if here else None


def bass_on(layer: Layer, bar: int, start: Fraction) -> TabNote | None:
    """The bass struck at a moment."""
    return next((n for n in layer.bars[bar] if n.part == "bass" and n.start == start), None)


def count_register(arrangement: Arrangement, counts: Counter[str]) -> None:
    """Bass notes of plain and moving bass on strings 4 to 6; how long the plain bass rings."""
    for name in ("plain-bass", "moving-bass"):
        for note in (n for bar in arrangement.layer(name).bars for n in bar if n.part == "bass"):
            counts["bass notes"] += 1
            counts["bass notes low"] += note.string in THUMB


def count_ring(tune: Tune, arrangement: Arrangement, counts: Counter[str]) -> None:
    """Plain bass notes that ring three quarters of their beat or longer."""
    layer = arrangement.layer("plain-bass")
    for bar, start, end in main_beats(tune):
        note = bass_on(layer, bar, start)
        if note is not None:
            counts["beats struck"] += 1
            counts["beats rung"] += note.length >= (end - start) * Fraction(3, 4)


def deep_share(arrangement: Arrangement) -> float:
    """Share of the plain bass's tonic roots that are the lowest open string."""
    setup = arrangement.setup
    lowest = setup.strings_midi[0] + setup.capo
    roots = [
        n.midi == lowest
        for bar in arrangement.layer("plain-bass").bars
        for n in bar
        if n.part == "bass" and (n.midi - lowest) % 12 == 0
    ]
    return sum(roots) / len(roots) if roots else 0.0


def broken_promises(ranked: RankedSetup, arrangement: Arrangement) -> tuple[int, list[str]]:
    """How many reasons of the ranking can be checked by ear, and those that are not heard."""
    promises, broken = 0, []
    bass = {
        name: {
            (n.string, n.fret) for bar in arrangement.layer(name).bars for n in bar
            if n.part == "bass"
        }
        for name in ("plain-bass", "moving-bass")
    }  # fmt: skip
    heard = {n.string for one in arrangement.layers for bar in one.bars for n in bar if not n.fret}
    for reason in ranked.reasons:
        kept = True
        if "is the open sixth string" in reason:
            kept = (
                all((6, 0) in notes for notes in bass.values()) and deep_share(arrangement) >= 0.5
            )
        elif "rings on the open" in reason or "on the open" in reason:
            named = {ORDINALS[w] for w in re.findall(r"\w+", reason.partition(" on the open")[2])
                     if w in ORDINALS and w != "fifth"}  # fmt: skip
            named |= {5} if re.search(r"fifth(,| and| string|$)", reason) else set()
            kept = named <= heard
        else:
            continue
        promises += 1
        broken += [] if kept else [reason]
    return promises, broken


def broken_arranged(
    tune: Tune, ranked: RankedSetup, arrangement: Arrangement
) -> tuple[int, list[str]]:
    """What the reasons say of the quick arrangement, held against the whole one.

    The bass falls on as many main beats (less five in a hundred), and the plain bass has the root
    under the last main beat of every closing bar where that is promised.
    """
    layer, written = arrangement.layer("plain-bass"), tune.written_bars()
    beats = main_beats(tune)
    promises, broken = 0, []
    for reason in ranked.reasons:
        found = re.search(r"a bass falls on (\d+)%", reason)
        if not found:
            continue
        promises += 1
        struck = sum(bass_on(layer, bar, start) is not None for bar, start, _ in beats)
        kept = struck >= (int(found[1]) / 100 - 0.05) * len(beats)
        if "every part closes on its root" in reason:
            promises += 1
            for bar, start, _ in beats:
                after = written[bar + 1] if bar + 1 < len(written) else None
                here = written[bar]
                ends = after is None or (after.part, after.ending) != (here.part, here.ending)
                last = not any(b == bar and s > start for b, s, _ in beats)
                body = here.kind == "bar" and after is not None and after.kind == "ending"
                if ends and last and not (body and after.part == here.part):
                    bass, chord = bass_on(layer, bar, start), chord_over(layer, bar, start)
                    assert chord is not None
                    if bass is None or bass.midi % 12 not in (chord.root, chord.bass):
                        broken.append(f"bar {here.number}: {reason}")
                        break
        broken += [] if kept else [f"{struck} of {len(beats)}: {reason}"]
    return promises, broken


def count_lines(tune: Tune, arrangement: Arrangement, counts: Counter[str]) -> None:
    """Parts in which still, steady and restless bass are three different lines."""
    written = tune.written_bars()
    for number in range(len(tune.parts)):
        mine = [i for i, bar in enumerate(written) if bar.part == number]
        lines = {
            tuple((i, n.start, n.midi) for i in mine for n in line.bars[i] if n.part == "bass")
            for line in arrangement.lines
        }
        counts["parts"] += 1
        counts["parts with three lines"] += len(lines) == 3


def count_named(tune: Tune, layer: Layer, counts: Counter[str]) -> None:
    """Struck main beats on which the chord named is the chord that sounds.

    Root or fifth in the bass (or the bass named after the slash), root or third somewhere, and
    no third but its own.
    """
    for bar, start, end in main_beats(tune):
        bass, chord = bass_on(layer, bar, start), chord_over(layer, bar, start)
        if bass is None or chord is None:
            continue
        here = {
            n.midi % 12
            for n in layer.bars[bar]
            if n.start < end and n.start + n.length > start and not n.grace
        }
        before = layer.bars[bar - 1] if bar else ()
        over = start + tune.written_bars()[bar - 1].length
        here |= {n.midi % 12 for n in before if n.start + n.length > over}
        thirds = {(chord.root + 3) % 12, (chord.root + 4) % 12}
        low = (chord.bass,) if chord.bass is not None else (chord.root, chord.fifth)
        right = bass.midi % 12 in low
        there = bool(here & ({chord.root} | chord.thirds)) or chord.bass is not None
        clean = not here & (thirds - chord.tones)
        counts[f"{layer.name} chords"] += 1
        counts[f"{layer.name} slashes"] += chord.bass is not None
        counts[f"{layer.name} bass right"] += right
        counts[f"{layer.name} chord there"] += there
        counts[f"{layer.name} no foreign third"] += clean
        counts[f"{layer.name} named"] += right and there and clean


def plain_chords(layer: Layer, bar: int) -> tuple[tuple[Fraction, str], ...]:
    """The chords of a bar without what stands after a slash."""
    found: list[tuple[Fraction, str]] = []
    for chord in (c for c in layer.chords if c.bar == bar):
        symbol = chord.symbol.partition("/")[0]
        if not found or found[-1][1] != symbol:
            found.append((chord.start, symbol))
    return tuple(found)


def count_same(tune: Tune, arrangement: Arrangement, counts: Counter[str]) -> None:
    """Bars with the same chords in all layers; bars with the same melody at the same place of a
    part with the same chords."""
    seen: dict[tuple, tuple] = {}
    moving = arrangement.layer("moving-bass")
    written = tune.written_bars()
    for index, bar in enumerate(written):
        if bar.kind == "pickup":
            continue
        chords = {plain_chords(layer, index) for layer in arrangement.layers}
        counts["bars with chords"] += 1
        counts["bars same in all"] += len(chords) == 1
        mine = [i for i, b in enumerate(written) if b.part == bar.part and b.kind != "pickup"]
        place = mine.index(index) % PLACES
        key = (place, bar.kind, bar.length, tuple((n.start, n.length, n.midi) for n in bar.notes))
        if key in seen:
            counts["bars again"] += 1
            counts["bars again same"] += seen[key] == plain_chords(moving, index)
        seen.setdefault(key, plain_chords(moving, index))


def count_line(tune: Tune, arrangement: Arrangement, counts: Counter[str]) -> None:
    """The moving bass in performed order: a-b-a-b, and how the bass comes to a new chord."""
    layer = arrangement.layer("moving-bass")
    row: list[int] = []
    before: ChordTones | None = None
    beats: dict[int, list[tuple[Fraction, Fraction]]] = {}
    for bar, start, end in main_beats(tune):
        beats.setdefault(bar, []).append((start, end))
    for index in tune.performed_order():
        starts = {start for start, _ in beats.get(index, ())}
        for note in (n for n in layer.bars[index] if n.part == "bass"):
            row.append(note.midi)
            counts["rocking"] += (
                len(row) > 3 and row[-1] == row[-3] != row[-2] and row[-2] == row[-4]
            )
            if note.start not in starts:
                continue
            counts["moving beats"] += 1
            chord = chord_over(layer, index, note.start)
            if chord and before and chord.root != before.root and len(row) > 1:
                counts["goals"] += 1
                counts["goals reached"] += abs(row[-1] - row[-2]) in STEPS_AND_FIFTHS
            before = chord


def count_music(
    tune: Tune, ranked: RankedSetup, arrangement: Arrangement, counts: Counter[str]
) -> list[str]:
    """Everything of this module; returns the reasons that are not heard."""
    count_register(arrangement, counts)
    count_ring(tune, arrangement, counts)
    promises, broken = broken_promises(ranked, arrangement)
    more, also_broken = broken_arranged(tune, ranked, arrangement)
    promises, broken = promises + more, [*broken, *also_broken]
    counts["promises"] += promises
    counts["promises kept"] += promises - len(broken)
    for layer in arrangement.layers[1:]:
        count_named(tune, layer, counts)
    count_same(tune, arrangement, counts)
    count_line(tune, arrangement, counts)
    count_lines(tune, arrangement, counts)
    return broken


def shares(counts: Counter[str]) -> dict[str, float]:
    """The figures."""

    def share(part: str, whole: str) -> float:
        return counts[part] / counts[whole] if counts[whole] else 1.0

    found = {
        "plain and moving bass on strings 4 to 6": share("bass notes low", "bass notes"),
        "plain bass rings its beat": share("beats rung", "beats struck"),
        "promises of the ranking kept": share("promises kept", "promises"),
    }
    for name in ("drone", "plain-bass", "moving-bass", "fuller"):
        found[f"{name}: chord named sounds"] = share(f"{name} named", f"{name} chords")
        found[f"{name}: .. bass as named"] = share(f"{name} bass right", f"{name} chords")
        found[f"{name}: .. root or third sounds"] = share(f"{name} chord there", f"{name} chords")
        found[f"{name}: .. no foreign third"] = share(f"{name} no foreign third", f"{name} chords")
        found[f"{name}: chords with a slash"] = share(f"{name} slashes", f"{name} chords")
    found["parts with three different bass lines"] = share("parts with three lines", "parts")
    found["same chords in all layers"] = share("bars same in all", "bars with chords")
    found["same chords when the melody returns"] = share("bars again same", "bars again")
    found["moving bass: rocking"] = share("rocking", "moving beats")
    found["moving bass: goals by step or fifth"] = share("goals reached", "goals")

    return found
