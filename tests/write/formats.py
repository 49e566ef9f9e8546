"""Every format of many tunes, read back note for note by libraries that nobody here wrote.

    python -m tests.write.formats --split dev --count 300

Task: find any note, tie, repeat, ending, string, fret or technique that a writer loses.
In:   tunes of the public-domain collections; each is ranked and arranged as the program does it,
      every third with ornaments and every fourth in DADGAD with the capo at 5.
Out:  a line for every difference; figures in tests/write/figures/formats.json; exit code 1 when
      there is a difference.
Method: MusicXML against the W3C schema, music21 and verovio; MIDI against mido; ABC against
      abc2midi and music21; text tablature against our own reader. The truth is what the sheet says
      (write/sheet/layout.py), which tests/write/test_sheet.py holds against the arrangement.
"""

from __future__ import annotations

import argparse
import base64
import io
import json
import re
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import mido

from liltwright.guitar.fretboard import open_midi
from liltwright.guitar.player import Player
from liltwright.options import GuitarOptions, LayerOptions
from liltwright.read.abc import read_abc
from liltwright.read.tablature import read_tablature
from liltwright.run import arrange_on, choose_setups
from liltwright.tab import Arrangement, Setup
from liltwright.tune import Tune
from liltwright.write.files import layer_names
from liltwright.write.formats.abc import layer_to_abc, tune_to_abc
from liltwright.write.formats.midi import layer_to_midi, tune_to_midi
from liltwright.write.formats.musicxml import layer_to_musicxml, tune_to_musicxml
from liltwright.write.formats.tablature import layer_to_text
from liltwright.write.sheet.bars import Sheet
from liltwright.write.sheet.layout import PERFORMANCE, sheet_of_layer, sheet_of_tune
from tests.benchmark.collections import tunes
from tests.read.books import plain_parts
from tests.write import schema
from tests.write.heard_by import (
    Notes,
    abc2midi,
    agree,
    as_read,
    as_sounding,
    midi_tracks,
    played,
    voice_of,
)

FIGURES = Path(__file__).parent / "figures" / "formats.json"
ALL = ("melody", "bass", "inner")
Fault = tuple[str, str]
"""Which check, and what it found."""


def main() -> int:
    """Check the tunes; 0 when nothing differs."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--split", choices=("train", "dev", "test"), default="dev")
    parser.add_argument("--count", type=int, default=300, help="tunes, spread over the split")
    parser.add_argument("--first", type=int, default=0, help="number of the first tune")
    parser.add_argument("--keep", action="store_true", help="leave the figures file as it is")
    args = parser.parse_args()
    every = tunes(args.split)
    chosen = [every[at * len(every) // args.count] for at in range(min(args.count, len(every)))]
    start, checks, faults = time.time(), Counter[str](), []
    for number, item in enumerate(chosen[args.first :], args.first):
        tune_start = time.time()
        for check, fault in check_tune(item.tune, number, checks):
            faults.append(f"{number} {item.id}: {check}: {fault}")
            print(faults[-1], flush=True)
        print(f"{number} {item.id} {time.time() - tune_start:.1f} s", file=sys.stderr, flush=True)
    figures = {
        "command": "python -m tests.write.formats " + " ".join(sys.argv[1:]),
        "tunes": len(chosen) - args.first,
        "documents": dict(sorted(checks.items())),
        "differences": faults,
        "wall_s": round(time.time() - start),
    }
    print(json.dumps({**figures, "differences": len(faults)}, indent=1))
    if not args.keep:
        FIGURES.parent.mkdir(exist_ok=True)
        FIGURES.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    return bool(faults)


def check_tune(tune: Tune, number: int, checks: Counter[str]) -> Iterator[Fault]:
    """Every fault of a tune and its arrangement; `checks` counts what was read back."""

    def run(name: str, check: Callable[[], Iterator[str]]) -> Iterator[Fault]:
        checks[name.split(",")[0]] += 1
        try:
            yield from ((name, fault) for fault in check())
        except Exception as fault:  # whatever another library makes of our file is a fault
            yield name, f"{type(fault).__name__}: {fault}"

    sheet = sheet_of_tune(tune)
    order = tune.performed_order()
    data = tune_to_musicxml(tune)
    if schema.AT_HAND:
        yield from run("tune schema", lambda: iter(schema.faults(data)))
    yield from run("tune music21", lambda: music21_reads(data, sheet, order, None))
    yield from run("tune verovio", lambda: verovio_reads(data, sheet, order, None))
    yield from run("tune MIDI", lambda: mido_reads(tune_to_midi(tune), sheet, order))
    yield from run("tune ABC", lambda: tune_abc_reads(tune))
    arrangement = arranged(tune, number)
    for name in layer_names(arrangement):
        layer = sheet_of_layer(tune, arrangement, name)
        xml = layer_to_musicxml(tune, arrangement, name)
        plays = range(len(layer.bars)) if name == PERFORMANCE else order
        yield from _layer_faults(run, tune, arrangement, layer, xml, plays)


def _layer_faults(
    run: Callable[[str, Callable[[], Iterator[str]]], Iterator[Fault]],
    tune: Tune,
    arrangement: Arrangement,
    sheet: Sheet,
    xml: bytes,
    order: Sequence[int],
) -> Iterator[Fault]:
    name, setup = sheet.name, arrangement.setup
    midi = layer_to_midi(tune, arrangement, name)
    checks: dict[str, Callable[[], Iterator[str]]] = {
        "schema": lambda: iter(schema.faults(xml)),
        "music21": lambda: music21_reads(xml, sheet, order, setup),
        "verovio": lambda: verovio_reads(xml, sheet, order, setup),
        "MIDI": lambda: mido_reads(midi, sheet, order),
        "ABC": lambda: layer_abc_reads(layer_to_abc(tune, arrangement, name), sheet),
        "text tab": lambda: text_reads(layer_to_text(tune, arrangement, name), sheet, setup),
    }
    if not schema.AT_HAND:
        del checks["schema"]
    for what, check in checks.items():
        yield from run(f"layer {what}, {name}", check)


def arranged(tune: Tune, number: int) -> Arrangement:
    """The arrangement that the program would make; the settings change from tune to tune."""
    player = Player()
    guitar = GuitarOptions(tuning="DADGAD", capo=5) if number % 4 == 1 else GuitarOptions()
    setup = choose_setups(tune, player, guitar, None)[0]
    return arrange_on(tune, setup, player, LayerOptions(ornaments=number % 3 == 0))


# ---------------------------------------------------------------- MusicXML


def music21_reads(
    data: bytes, sheet: Sheet, order: Sequence[int], setup: Setup | None
) -> Iterator[str]:
    """Notes with lengths, repeats, endings, strings, frets, hammer-ons, as music21 reads them."""
    from music21 import converter, spanner

    score = converter.parseData(data.decode(), format="musicxml")
    parts = list(score.parts)
    if len(parts) != (1 if setup is None else 2):
        yield f"{len(parts)} staves"
        return
    ours = sorted(written(sheet))
    for staff, part in zip(("notation", "tab"), parts, strict=False):
        yield from differences(staff, ours, sorted(of_music21(part)))
    played_order = parts[0].expandRepeats() if len(order) > len(sheet.bars) else parts[0]
    theirs = [pitch for _, pitch, _ in sorted(of_music21(played_order))]
    if theirs != [pitch for _, pitch in voice_of(sheet, ALL, order)]:
        yield "repeats and endings are played otherwise"
    brackets = len(parts[0].getElementsByClass(spanner.RepeatBracket))
    if brackets != sum(bool(bar.ending) for bar in sheet.bars):
        yield f"{brackets} endings"
    if setup is not None:
        yield from _positions(parts[1], score, sheet, setup)


def written(sheet: Sheet) -> Iterator[tuple[Fraction, int, Fraction]]:
    """Start, pitch and length of every written note, tied ones as one."""
    now, held = Fraction(0), dict[tuple[str, int], tuple[Fraction, Fraction]]()
    for bar in sheet.bars:
        for voice in bar.voices:
            for item in voice.items:
                for note in item.notes:
                    key = (voice.name, note.midi)
                    start, length = held.pop(key) if item.tied_in else (now + item.start, 0)
                    if item.tied_out:
                        held[key] = (start, length + item.length)
                    else:
                        yield start, note.midi, length + item.length
        now += bar.length


def of_music21(part: Any) -> Iterator[tuple[Fraction, int, Fraction]]:
    """The same of a part of music21's."""
    held = dict[tuple[str, int], tuple[Fraction, Fraction]]()
    for bar in part.getElementsByClass("Measure"):
        begin = Fraction(bar.offset).limit_denominator(960)
        for voice in bar.voices or [bar]:
            for note in voice.notes:
                if "ChordSymbol" in note.classes or note.duration.isGrace:
                    continue
                at = (begin + Fraction(note.offset).limit_denominator(960)) / 4
                lasts = Fraction(note.quarterLength).limit_denominator(960) / 4
                for head in getattr(note, "notes", (note,)):
                    tie = head.tie.type if head.tie else ""
                    key = (str(voice.id) if bar.voices else "", head.pitch.midi)
                    known = held.pop(key, None) or _only(held, head.pitch.midi)
                    start, length = known if tie in ("stop", "continue") and known else (at, 0)
                    if tie in ("start", "continue"):
                        held[key] = (start, length + lasts)
                    else:
                        yield start, head.pitch.midi, length + lasts


def _only(
    held: dict[tuple[str, int], tuple[Fraction, Fraction]], midi: int
) -> tuple[Fraction, Fraction] | None:
    """The one held note of this pitch, where the voice goes by another name in the next bar."""
    keys = [key for key in held if key[1] == midi]
    return held.pop(keys[0]) if len(keys) == 1 else None


def _positions(part: Any, score: Any, sheet: Sheet, setup: Setup) -> Iterator[str]:
    """String and fret of every note, and the hammer-ons and pull-offs, on the tab staff."""
    from music21 import articulations as marks

    theirs = Counter[tuple[int, int, int]]()
    for note in part.flatten().notes:
        strings = [s.number for s in note.articulations if isinstance(s, marks.StringIndication)]
        frets = [s.number for s in note.articulations if isinstance(s, marks.FretIndication)]
        for head, string, fret in zip(getattr(note, "notes", (note,)), strings, frets, strict=True):
            theirs[string, fret, head.pitch.midi] += 1
            if open_midi(setup.strings_midi, string) + setup.capo + fret != head.pitch.midi:
                yield f"string {string}, fret {fret} is not pitch {head.pitch.midi}"
    items = [item for bar in sheet.bars for voice in bar.voices for item in voice.items]
    ours = Counter(
        (note.string, note.fret, note.midi)
        for item in items
        for note in (*item.graces, *item.notes)
    )
    if ours != theirs:
        yield f"strings and frets: {(ours - theirs) or (theirs - ours)}"
    reached = Counter(
        (kind, *(note.pitch.midi for note in line.getSpannedElements()))
        for kind, of in (("hammer-on", marks.HammerOn), ("pull-off", marks.PullOff))
        for line in score.spannerBundle.getByClass(of)
    )
    if reached != Counter(techniques(sheet)):
        yield f"hammer-ons and pull-offs: {reached} instead of {Counter(techniques(sheet))}"


def techniques(sheet: Sheet) -> Iterator[tuple[str, int, int]]:
    """Every hammer-on and pull-off with the pitch it comes from on its string and the one reached.

    A grace note comes before the note it graces.
    """
    last = dict[int, int]()
    for bar in sheet.bars:
        for note in sorted(bar.sounding, key=lambda note: (note.start, not note.grace)):
            if note.technique in ("hammer-on", "pull-off") and note.string in last:
                yield str(note.technique), last[note.string], note.midi
            last[note.string] = note.midi


def verovio_reads(
    data: bytes, sheet: Sheet, order: Sequence[int], setup: Setup | None
) -> Iterator[str]:
    """What verovio plays from both staves, and the endings and slurs that it draws."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.loadData(data.decode())
    mei = toolkit.getMEI()
    staves = midi_tracks(base64.b64decode(toolkit.renderToMIDI()))
    ours = [(at, pitch) for at, pitch in voice_of(sheet, ALL, order)]
    if len(staves) != (1 if setup is None else 2):
        yield f"{len(staves)} staves sound"
        return
    graces = any(note.grace for bar in sheet.bars for note in bar.sounding)
    for staff, theirs in zip(("notation", "tab"), staves, strict=False):
        if staff == "tab" and setup is not None:  # verovio knows no capo on a tab staff
            theirs = [(at, pitch + setup.capo) for at, pitch in theirs]
        if graces:  # verovio lets them take time: only whole bars can be held against each other
            missing = Counter(p for _, p in ours) - Counter(p for _, p in theirs)
            yield from (f"{staff}: pitch {pitch} is missing" for pitch in missing)
        else:
            yield from differences(staff, ours, theirs, tick=Fraction(1, 200))
    endings = sum(bool(bar.ending) for bar in sheet.bars)
    if len(re.findall(r"<ending ", mei)) != endings:
        yield f"{len(re.findall('<ending ', mei))} endings instead of {endings}"
    slurs, wanted = len(re.findall(r"<slur ", mei)), len(list(techniques(sheet)))
    if setup is not None and slurs != wanted:
        yield f"{slurs} slurs instead of {wanted}"


# ---------------------------------------------------------------- MIDI, ABC, text


def mido_reads(data: bytes, sheet: Sheet, order: Sequence[int]) -> Iterator[str]:
    """Every voice's pitches in order, tempo, metre, key and programs."""
    file = mido.MidiFile(file=io.BytesIO(data), charset="utf-8")
    messages = [message for track in file.tracks for message in track]
    kinds = Counter(message.type for message in messages)
    for kind in ("set_tempo", "time_signature", "key_signature", "program_change"):
        if not kinds[kind]:
            yield f"no {kind}"
    tempo = next(m.tempo for m in messages if m.type == "set_tempo")
    wanted = 60e6 / (float(sheet.beat * 4) * sheet.beats_per_minute)
    if abs(tempo - wanted) > 1:
        yield f"tempo {tempo} instead of {wanted:.0f}"
    ours = Counter(note.midi for index in order for note in sheet.bars[index].sounding)
    theirs = Counter(pitch for track in midi_tracks(data) for _, pitch in track)
    if ours != theirs:
        yield f"pitches: {(ours - theirs) or (theirs - ours)}"
    voices = {note.voice for bar in sheet.bars for note in bar.sounding}
    if len(midi_tracks(data)) != len(voices):
        yield f"{len(midi_tracks(data))} tracks for {len(voices)} voices"


def tune_abc_reads(tune: Tune) -> Iterator[str]:
    """The plain tune as abc2midi plays it, as music21 reads it and as we do."""
    from music21 import converter

    text = tune_to_abc(tune)
    yield from _heard_by_abc2midi(text, [played(tune)])
    score = converter.parseData(text, format="abc")
    theirs = [
        (Fraction(note.offset).limit_denominator(960) / 4, note.pitch.midi)
        for note in score.flatten().notes
        if note.isNote and (note.tie is None or note.tie.type == "start")
    ]
    if not agree(voice_of(sheet_of_tune(tune), ("melody",)), theirs):
        yield "music21 reads other notes"
    again = read_abc(text, name="a.abc")
    if plain_parts(again) != plain_parts(tune) or again.form != tune.form:
        yield "we read another tune"


def layer_abc_reads(text: str, sheet: Sheet) -> Iterator[str]:
    """Each voice of a layer, its bars one after another, as abc2midi plays them."""
    graces = sum(note.grace for bar in sheet.bars for note in bar.sounding)
    signs = re.findall(r"\{([^}]*)\}", text)
    if sum(len(re.findall("[A-Ga-g]", sign)) for sign in signs) != graces:
        yield f"grace notes {signs} instead of {graces}"
    text = re.sub(r"\{[^}]*\}", "", text)  # abc2midi gives them a time of their own
    text = re.sub(r"\|:+", "|", text)
    text = re.sub(r":+\|", "|", re.sub(r"\[[0-9,]+ ", "", text))
    voices = [voice_of(sheet, (voice,)) for voice in ("melody", "inner", "bass")]
    yield from _heard_by_abc2midi(text, [notes for notes in voices if notes])


def _heard_by_abc2midi(text: str, expected: Sequence[Notes]) -> Iterator[str]:
    """abc2midi swings what R: calls a hornpipe, so that field is left out."""
    with tempfile.TemporaryDirectory() as folder:
        tracks = abc2midi(re.sub(r"^R:.*\n", "", text, flags=re.MULTILINE), Path(folder))
    if len(tracks) != len(expected):
        yield f"{len(tracks)} voices instead of {len(expected)}"
    for ours, theirs in zip(expected, tracks, strict=False):
        yield from differences("abc2midi", ours, theirs, tick=Fraction(1, 80))


def text_reads(text: str, sheet: Sheet, setup: Setup) -> Iterator[str]:
    """Text tablature read back by our own reader, and whether it survives e-mail."""
    tab = read_tablature(text, name="a.txt")
    if as_read(tab, sheet) != as_sounding(sheet):
        yield "other notes are read back"
    if tab.setup != setup:
        yield f"the setup is read back as {tab.setup}"
    printed = [(bar.closes_repeat or 1, bar.ending) for bar in sheet.bars]
    if [(bar.times, bar.ending) for bar in tab.page] != printed:
        yield "repeats or endings are read back otherwise"
    if not text.isascii() or max(len(line) for line in text.splitlines()) > 80:
        yield "a line is too long or not plain ASCII"


def differences(
    what: str, ours: Sequence[Any], theirs: Sequence[Any], tick: Fraction = Fraction(0)
) -> Iterator[str]:
    """The first difference between two lists of notes, if any; starts may be a tick apart."""
    if len(ours) != len(theirs):
        yield f"{what}: {len(theirs)} notes instead of {len(ours)}"
        return
    for a, b in zip(sorted(ours), sorted(theirs), strict=True):
        if a[1:] != b[1:] or abs(a[0] - b[0]) > tick:
            yield f"{what}: {b} instead of {a}"
            return


if __name__ == "__main__":
    sys.exit(main())
