"""How well finished pages are taken apart, with the truth known.

    python -m tests.benchmark.unpick --tunes 40

In:  tunes of the development split: our own layers given as pure tablature without voices, and the
     simple arrangers of tests/unpick/arrangers.py; four-part chorales by Bach that music21 carries,
     brought onto the guitar by our own search, with their voices as truth; songs with piano,
     keyboard pieces and string quartets of music21 (tests/unpick/scores.py), without a floor.
Out: F1 of melody, bass and inner notes for each, and seconds for 64 bars, in
     tests/benchmark/figures/SPLIT-unpick.json; exit code 1 below a floor.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

from liltwright.errors import PipelineError
from liltwright.guitar.player import Player
from liltwright.options import GuitarOptions, LayerOptions
from liltwright.read.bars import ReadBar
from liltwright.read.finished import finished_from_bytes, without_voices
from liltwright.read.written import Stated
from liltwright.run import arrange_on, choose_setups
from liltwright.tune import Source
from liltwright.unpick.finished import Finished, FinishedNote
from liltwright.unpick.page import Page, page_of
from liltwright.unpick.parting import part_notes
from liltwright.unpick.unpicked import UnpickSettings, unpick
from liltwright.write.formats.musicxml import layer_to_musicxml
from tests.benchmark.collections import tunes
from tests.unpick.arrangers import TEXTURES, arranged_by, blind, on_strings
from tests.unpick.scores import score_pages

FIGURES = Path(__file__).parent / "figures"
PARTS = ("melody", "bass", "inner")
SETUPS = ((None, None), ("DADGAD", 5), ("standard", 0), ("drop D", 2))
FLOORS = {"own": {"melody": 0.98, "bass": 0.95}, "foreign": {"melody": 0.95, "bass": 0.92}}
MOST_SECONDS = 3.0
CHORALES = tuple(f"bach/bwv{number}" for number in (
    "269", "347", "153.1", "86.6", "267", "281", "17.7", "40.8", "248.12-2", "38.6",
    "41.6", "65.2", "187.7", "308", "40.6", "20.7", "66.6", "377", "6.6", "245.40",
))  # fmt: skip

Matches = Counter[tuple[str, str]]
"""How often a note that is one part was taken for another: (is, taken for)."""


def main() -> int:
    """Measure; 0 when no floor is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tunes", type=int, default=40, help="tunes, spread over the split")
    parser.add_argument("--split", choices=("dev", "test"), default="dev")
    parser.add_argument("--keep", action="store_true", help="leave the figures file as it is")
    args = parser.parse_args()
    every = tunes(args.split)
    chosen = [every[at * len(every) // args.tunes].tune for at in range(args.tunes)]
    own, foreign = {}, {}
    seconds = bars = 0.0
    for layer, truth, page in own_layers(chosen):
        start = time.perf_counter()
        found = part_notes(page).parts
        seconds, bars = seconds + time.perf_counter() - start, bars + len(page.begins)
        own.setdefault(layer, Counter()).update(zip(truth, found, strict=True))
    for name, truth, page in [*foreign_pages(chosen), *chorales()]:
        foreign.setdefault(name, Counter()).update(zip(truth, part_notes(page).parts, strict=True))
    scores: dict[str, Matches] = {}
    for name, truth, page in score_pages():
        scores.setdefault(name, Counter()).update(zip(truth, part_notes(page).parts, strict=True))
    figures = {
        "split": args.split,
        "tunes": len(chosen),
        "own": figures_of(own),
        "foreign": figures_of(foreign),
        "scores": figures_of(scores),
        "parting_seconds_for_64_bars": round(64 * seconds / max(bars, 1), 3),
        "unpick_seconds_for_64_bars": round(whole_seconds(chosen), 3),
    }
    print(json.dumps(figures, indent=1))
    if not args.keep:
        path = FIGURES / f"{args.split}-unpick.json"
        path.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    missed = [
        f"{group} {part}: {figures[group]['all'][part]} < {floor}"
        for group, floors in FLOORS.items()
        for part, floor in floors.items()
        if figures[group]["all"][part] < floor
    ]
    if figures["unpick_seconds_for_64_bars"] > MOST_SECONDS:
        missed.append("too slow")
    print("\n".join(missed) or "no floor is missed")
    return bool(missed)


def f1(matches: Matches, part: str) -> float:
    """F1 of one part."""
    right = matches[part, part]
    total = sum(n for (a, b), n in matches.items() for one in (a, b) if one == part)
    return round(2 * right / total, 4) if total else 1.0


def figures_of(groups: dict[str, Matches]) -> dict[str, dict[str, float]]:
    """F1 by group and over all."""
    whole: Matches = Counter()
    for matches in groups.values():
        whole.update(matches)
    return {
        name: {part: f1(matches, part) for part in PARTS}
        for name, matches in (*groups.items(), ("all", whole))
    }


def own_layers(chosen: Sequence) -> Iterator[tuple[str, list[str], Page]]:
    """Every layer of every tune: its name, the truth, the page as pure tablature."""
    player = Player()
    for number, tune in enumerate(chosen):
        tuning, capo = SETUPS[number % len(SETUPS)]
        try:
            setup = choose_setups(tune, player, GuitarOptions(tuning=tuning, capo=capo), None)[0]
        except PipelineError:
            setup = choose_setups(tune, player, GuitarOptions(tuning="DADGAD"), None)[0]
        arrangement = arrange_on(tune, setup, player, LayerOptions())
        for layer in arrangement.layers:
            read = finished_from_bytes(layer_to_musicxml(tune, arrangement, layer.name), name="p")
            truth = [one.note.voice for one in page_of(read).notes]
            yield layer.name, truth, page_of(without_voices(read))


def foreign_pages(chosen: Sequence) -> Iterator[tuple[str, list[str], Page]]:
    """Every tune in every foreign texture."""
    for number, tune in enumerate(chosen):
        for name in TEXTURES:
            tuning = ("standard", "DADGAD", "drop D")[number % 3]
            try:
                page = on_strings(arranged_by(name, tune), tuning)
            except PipelineError:
                continue
            yield name, [one.note.voice for one in page.notes], blind(page)


def chorales() -> Iterator[tuple[str, list[str], Page]]:
    """Soprano, bass and inner voices of chorales, a fourth lower, the lowest notes an octave up."""
    for name in CHORALES:
        page = on_strings(chorale(name), "drop D")
        truth = [one.note.voice for one in page.notes]
        yield "chorales", truth, blind(page)
        yield "chorales with lengths", truth, blind(page, lengths=True)


def chorale(name: str) -> Finished:
    """A chorale of music21's corpus as a page of pitches."""
    from music21 import corpus

    score = corpus.parse(name).stripTies()
    voices = ("melody", "inner", "inner", "bass")
    parts = list(score.parts)[:4]
    measures = [list(part.getElementsByClass("Measure")) for part in parts]
    time_signature = parts[0].recurse().getElementsByClass("TimeSignature").first()
    bars = []
    for index, first in enumerate(measures[0]):
        notes = []
        for voice, mine in zip(voices, measures, strict=True):
            if index < len(mine):
                for one in mine[index].notes:
                    for pitch in one.pitches:
                        midi = int(pitch.midi) - 5
                        midi += 12 if voice == "bass" and midi < 38 else 0
                        length = Fraction(one.quarterLength) / 4
                        start = Fraction(one.offset) / 4
                        if length > 0 and all((n.midi, n.start) != (midi, start) for n in notes):
                            notes.append(FinishedNote(midi, start, length, voice=voice))
        notes.sort(key=lambda note: (note.start, note.midi))
        length = Fraction(first.duration.quarterLength) / 4
        bars.append(ReadBar(tuple(notes), length))
    return Finished(
        Source(name, ""), Stated(title=name, meter=time_signature.ratioString), tuple(bars)
    )


def whole_seconds(chosen: Sequence) -> float:
    """Seconds of reading and unpicking a page, for 64 bars."""
    player = Player()
    seconds = bars = 0.0
    for tune in chosen[:6]:
        setup = choose_setups(tune, player, GuitarOptions(tuning="DADGAD"), None)[0]
        arrangement = arrange_on(tune, setup, player, LayerOptions())
        data = layer_to_musicxml(tune, arrangement, "fuller")
        start = time.perf_counter()
        unpick(finished_from_bytes(data, name="p"), settings=UnpickSettings(ignore_voices=True))
        seconds += time.perf_counter() - start
        bars += len(tune.written_bars())
    return 64 * seconds / max(bars, 1)


if __name__ == "__main__":
    sys.exit(main())
