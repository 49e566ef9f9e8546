"""The flat list of bars that every writer of notes shares.

Task     lay a tune, a layer or a performance out as it is printed
In       Tune; for a layer its Arrangement
Out      Sheet: bars in the order of the page with voices, ties, repeats, endings and pick-ups
Method   The last bar of a part is printed short by the pick-up that follows when its notes leave
         the room. In a performance, where nothing is repeated, such a bar and the pick-up are
         one bar. Note values are found by voices.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from liltwright import keys
from liltwright.arrange.rounds import PerformedBar, performance, round_words
from liltwright.errors import UsageError
from liltwright.tab import Arrangement, Setup
from liltwright.tune import KeyName, ScoreNote, Tune, WrittenBar
from liltwright.write.sheet.voices import SheetNote, UnvoicedBar, Voice, voices_of

PERFORMANCE = "performance"


@dataclass(frozen=True, slots=True)
class SheetBar:
    """One printed bar."""

    number: int
    """As printed; 0 for a pick-up."""
    length: Fraction
    offset: Fraction
    """Where in a full bar this one begins; above 0 only for a pick-up."""
    voices: tuple[Voice, ...]
    sounding: tuple[SheetNote, ...]
    """Every note that begins in the bar, with its real length (start from the bar's beginning)."""
    chords: tuple[tuple[Fraction, str], ...] = ()
    part: str = ""
    """Name of the part that begins with this bar."""
    opens_repeat: bool = False
    closes_repeat: int = 0
    """Times the part is played when an end-repeat sign closes the bar."""
    ending: tuple[int, ...] = ()
    """Times through of the ending that begins here."""
    ends_ending: bool = False
    double_bar: bool = False
    last: bool = False
    heading: str = ""
    """Words above the bar: the round of a performance."""
    dynamic: str = ""
    written: int = -1
    """Index into Tune.written_bars(); -1 for a closing chord."""
    rings_on: bool = False
    """Whether a note may ring over the bar line after it."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A page of music: the bars and what stands at its head."""

    name: str
    """"tune", a layer's name or "performance"."""
    title: str
    tune_type: str
    meter: str
    beat: Fraction
    beats_per_minute: float
    key: KeyName
    signature: int
    swing: float
    bars: tuple[SheetBar, ...]
    setup: Setup | None = None
    cautions: tuple[str, ...] = ()

    @property
    def full(self) -> Fraction:
        """Length of a full bar."""
        return Fraction(self.meter)


def sheet_of_tune(tune: Tune) -> Sheet:
    """The plain tune as a tune book prints it."""
    bars = [tuple(_plain(note) for note in bar.notes) for bar in tune.written_bars()]
    chords = [(chord.bar, chord.start, chord.symbol) for chord in tune.chords_typed]
    return Sheet(
        name="tune",
        title=tune.title,
        tune_type=tune.tune_type,
        meter=tune.meter,
        beat=tune.beat,
        beats_per_minute=tune.beats_per_minute,
        key=KeyName(tune.tonic, tune.mode),
        signature=tune.signature,
        swing=tune.swing,
        bars=_printed(tune, bars, chords),
    )


def sheet_of_layer(tune: Tune, arrangement: Arrangement, name: str) -> Sheet:
    """A layer, or the "performance" with its rounds one after another.

    Raises UsageError when the arrangement has no such layer.
    """
    if name == PERFORMANCE:
        bars = _performed(tune, arrangement)
    else:
        try:
            layer = arrangement.layer(name)
        except KeyError:
            have = ", ".join(layer.name for layer in arrangement.layers)
            raise UsageError(f'There is no layer "{name}" here; there are {have}.') from None
        notes = [tuple(SheetNote.of_tab(note) for note in bar) for bar in layer.bars]
        chords = [(chord.bar, chord.start, chord.symbol) for chord in layer.chords]
        bars = _printed(tune, notes, chords)
    setup = arrangement.setup
    return Sheet(
        name=name,
        title=arrangement.title or tune.title,
        tune_type=tune.tune_type,
        meter=tune.meter,
        beat=tune.beat,
        beats_per_minute=arrangement.beats_per_minute,
        key=setup.sounds_in,
        signature=_signature(tune, setup),
        swing=tune.swing,
        bars=bars,
        setup=setup,
        cautions=arrangement.cautions,
    )


def _signature(tune: Tune, setup: Setup) -> int:
    """Of the sounding key, keeping what the tune's own signature differs from its mode's."""
    odd = tune.signature - keys.signature_of(tune.tonic, tune.mode)
    signature = keys.signature_of(setup.sounds_in.tonic, setup.sounds_in.mode)
    return max(-7, min(7, signature + (odd if abs(odd) <= 2 else 0)))


def _plain(note: ScoreNote) -> SheetNote:
    return SheetNote(note.midi, note.start, note.length, ornament=note.ornament)


@dataclass(frozen=True, slots=True)
class _Page:
    """A tune with its written bars, worked out once."""

    tune: Tune
    written: tuple[WrittenBar, ...]

    @property
    def full(self) -> Fraction:
        return self.tune.bar_length


# ---------------------------------------------------------------- with repeat signs


def _printed(
    tune: Tune,
    notes: Sequence[tuple[SheetNote, ...]],
    chords: Sequence[tuple[int, Fraction, str]],
) -> tuple[SheetBar, ...]:
    """Every written bar, with the signs that stand around it."""
    written = tune.written_bars()
    page = _Page(tune, written)
    frames = [
        _frame(page, index, notes[index], _next_pickup(page, index))
        for index in range(len(written))
    ]
    voices = voices_of(frames, tune.meter)
    bars = []
    for index, bar in enumerate(written):
        signs = _signs(page, index)
        bars.append(
            replace(
                signs,
                number=bar.number,
                length=frames[index].length,
                offset=frames[index].offset,
                voices=voices[index],
                sounding=frames[index].notes,
                rings_on=frames[index].rings_on,
                chords=_chords_in(chords, index, frames[index]),
            )
        )
    return tuple(bars)


def _frame(page: _Page, index: int, notes: tuple[SheetNote, ...], pickup: Fraction) -> UnvoicedBar:
    """A written bar as long as it is printed; `pickup` is the length of the pick-up after it."""
    bar, full = page.written[index], page.full
    offset = full - bar.length if bar.kind == "pickup" else Fraction(0)
    moved = tuple(note.moved(-offset) for note in notes)
    length = bar.length
    if pickup and length == full and _leaves_room(moved, full - pickup):
        length = full - pickup
    return UnvoicedBar(moved, length, offset, rings_on=not _ends_block(page, index))


def _leaves_room(notes: Sequence[SheetNote], end: Fraction) -> bool:
    """Whether the melody ends by `end` and nothing else begins after it (a bass may ring on)."""
    return all(
        note.start + (note.length if note.voice == "melody" else 0) <= end and note.start < end
        for note in notes
    )


def _ends_block(page: _Page, index: int) -> bool:
    """Whether the part, its body before endings, or an ending stops with this bar."""
    written = page.written
    if index + 1 == len(written):
        return True
    here, after = written[index], written[index + 1]
    return (here.part, here.kind == "ending", here.ending) != (
        after.part,
        after.kind == "ending",
        after.ending,
    )


def _next_pickup(page: _Page, index: int) -> Fraction:
    """Length of the pick-up that follows a bar when it is the last before one, else 0."""
    tune = page.tune
    bar = page.written[index]
    part = tune.parts[bar.part]
    if not _ends_block(page, index) or (bar.kind == "bar" and part.endings):
        return Fraction(0)
    times = part.endings[bar.ending].times if bar.kind == "ending" else (1,)
    leads_back = part.repeats > 1 and (bar.kind == "bar" or min(times) < part.repeats)
    after = part if leads_back else tune.parts[(bar.part + 1) % len(tune.parts)]
    return tune.bar_length - after.pickup[0].start if after.pickup else Fraction(0)


def _signs(page: _Page, index: int) -> SheetBar:
    """Repeat signs, endings and double bars around a written bar; the rest is filled in later."""
    written = page.written
    bar = written[index]
    part = page.tune.parts[bar.part]
    first = index == 0 or written[index - 1].part != bar.part
    last = index + 1 == len(written) or written[index + 1].part != bar.part
    times: tuple[int, ...] = ()
    starts_ending = ends_ending = False
    closes = 0
    if bar.kind == "ending":
        times = part.endings[bar.ending].times
        before = written[index - 1]
        starts_ending = before.kind != "ending" or before.ending != bar.ending
        ends_ending = _ends_block(page, index)
        if ends_ending and min(times, default=part.repeats) < part.repeats:
            closes = 2
    elif last and part.repeats > 1:
        closes = part.repeats
    return SheetBar(
        number=0,
        length=Fraction(0),
        offset=Fraction(0),
        voices=(),
        sounding=(),
        part=part.name if first else "",
        opens_repeat=first and part.repeats > 1,
        closes_repeat=closes,
        ending=times if starts_ending else (),
        ends_ending=ends_ending,
        double_bar=last,
        last=index + 1 == len(written),
        written=index,
    )


def _chords_in(
    chords: Sequence[tuple[int, Fraction, str]], index: int, frame: UnvoicedBar
) -> tuple[tuple[Fraction, str], ...]:
    found = [(start - frame.offset, symbol) for bar, start, symbol in chords if bar == index]
    return tuple(sorted((max(start, Fraction(0)), symbol) for start, symbol in found))


# ---------------------------------------------------------------- written out


def _performed(tune: Tune, arrangement: Arrangement) -> tuple[SheetBar, ...]:
    """The rounds one after another; a pick-up joins the short bar before it."""
    played = performance(tune, arrangement)
    written = tune.written_bars()
    page = _Page(tune, written)
    bars: list[tuple[UnvoicedBar, SheetBar]] = []
    number = 1
    part = ""  # of a pick-up that joined the bar before it
    for place, bar in enumerate(played):
        frame, sheet = _performed_bar(page, arrangement, played, place)
        joins = bars and bars[-1][0].length + frame.length == tune.bar_length
        if bar.written >= 0 and written[bar.written].kind == "pickup" and joins:
            bars[-1] = _joined(bars[-1], (frame, sheet))
            part = sheet.part
            continue
        sheet = replace(sheet, part=part or sheet.part)
        part = ""
        if not frame.offset:
            sheet = replace(sheet, number=number)
            number += 1
        bars.append((frame, sheet))
    voices = voices_of([frame for frame, _ in bars], tune.meter)
    return tuple(
        replace(
            sheet,
            length=frame.length,
            offset=frame.offset,
            voices=voices[index],
            sounding=frame.notes,
            rings_on=frame.rings_on,
            last=index + 1 == len(bars),
            double_bar=sheet.double_bar or index + 1 == len(bars),
        )
        for index, (frame, sheet) in enumerate(bars)
    )


def _performed_bar(
    page: _Page, arrangement: Arrangement, played: Sequence[PerformedBar], place: int
) -> tuple[UnvoicedBar, SheetBar]:
    bar = played[place]
    notes = tuple(SheetNote.of_tab(note) for note in bar.notes)
    blank = SheetBar(0, Fraction(0), Fraction(0), (), (), written=bar.written)
    if bar.written < 0:
        return UnvoicedBar(notes, bar.length, Fraction(0), False), replace(
            blank, heading=arrangement.change if not place else ""
        )
    frame = _frame(page, bar.written, notes, _pickup_after(page, played, place))
    layer = arrangement.layer(bar.layer)
    chords = [(chord.bar, chord.start, chord.symbol) for chord in layer.chords]
    before = played[place - 1] if place else None
    begins_round = _first_full_bar_of_round(page, played, place)
    begins_part = (
        before is None
        or _part_of(page, before) != _part_of(page, bar)
        or before.written >= bar.written
    )
    full = page.written[bar.written].kind != "pickup"
    changes = full and _last_dynamic(page, played, place) != bar.dynamic
    return replace(frame, rings_on=True), replace(
        blank,
        chords=_chords_in(chords, bar.written, frame),
        part=page.tune.parts[_part_of(page, bar)].name if begins_part else "",
        heading=f"Round {bar.round}: {round_words(arrangement.rounds[bar.round - 1])}"
        if begins_round
        else "",
        dynamic=bar.dynamic if changes else "",
        double_bar=place + 1 < len(played) and played[place + 1].round != bar.round,
    )


def _last_dynamic(page: _Page, played: Sequence[PerformedBar], place: int) -> str:
    """The dynamic of the last full bar before; of none, nothing."""
    for bar in reversed(played[:place]):
        if bar.written >= 0 and page.written[bar.written].kind != "pickup":
            return bar.dynamic
    return ""


def _first_full_bar_of_round(page: _Page, played: Sequence[PerformedBar], place: int) -> bool:
    written = page.written
    bar = played[place]
    if bar.written < 0 or written[bar.written].kind == "pickup":
        return False
    earlier = [one for one in played[max(place - 2, 0) : place] if one.round == bar.round]
    return all(one.written < 0 or written[one.written].kind == "pickup" for one in earlier)


def _part_of(page: _Page, bar: PerformedBar) -> int:
    return page.written[bar.written].part if bar.written >= 0 else -1


def _pickup_after(page: _Page, played: Sequence[PerformedBar], place: int) -> Fraction:
    following = played[place + 1].written if place + 1 < len(played) else -1
    if following < 0:
        return Fraction(0)
    after = page.written[following]
    return after.length if after.kind == "pickup" else Fraction(0)


def _joined(
    short: tuple[UnvoicedBar, SheetBar], pickup: tuple[UnvoicedBar, SheetBar]
) -> tuple[UnvoicedBar, SheetBar]:
    frame, sheet = short
    after, marks = pickup
    return (
        replace(
            frame,
            notes=frame.notes + tuple(note.moved(frame.length) for note in after.notes),
            length=frame.length + after.length,
        ),
        replace(
            sheet,
            chords=sheet.chords + tuple((s + frame.length, symbol) for s, symbol in marks.chords),
        ),
    )
