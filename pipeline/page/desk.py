"""What a page works on: the tune and how the player wants it arranged; one edit leads to the next.

Task: apply an edit, say in words what it did, keep what was heard in step.
In: State, an edit as plain data from the page or the journal. Out: the next State.
Method: edits of notes (notes.py) and of bars (bars.py) work on Tune.parts; key, type, tempo and
title go through notate's `renotate`, as on the command line. After each, the doubts of the bars
that were changed are gone and the bars heard carry the notes of the edit (again.py).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, cast

from liltwright import options
from liltwright.again import bars_of_the_edit
from liltwright.doubts import printed_bars
from liltwright.errors import PipelineError, UsageError
from liltwright.limits import clean
from liltwright.page.bars import BAR_OPS, meter_changed, on_bars
from liltwright.page.notes import NOTE_OPS, Edit, fraction, on_note, whole
from liltwright.tab import Setup
from liltwright.tune import Bar, Doubt, HeardBar, Tune, TypedChord, WrittenBar

EDITED = "as edited on the page"
WORDS = {
    "pitch": "pitch", "length": "length of a note", "split": "note split", "join": "notes joined",
    "tie": "tie", "delete": "note deleted", "insert": "note inserted", "ornament": "ornament",
    "bar-here": "bar line moved", "pick-up": "pick-up", "add-bar": "bar added",
    "drop-bar": "bar deleted", "part-here": "new part", "join-part": "parts joined",
    "repeats": "repeats", "type": "type of tune", "metre": "metre", "key": "key", "tempo": "tempo",
    "title": "title", "right": "right as it is", "chord": "chord", "setup": "tuning and capo",
    "effort": "how hard it may be", "rounds": "plan of rounds", "ornaments": "ornaments in the tab",
    "matters": "what matters", "pin": "note pinned", "line": "bass line", "octave": "octave",
    "outside": "change from outside", "anew": "recording read anew",
}  # fmt: skip
"""What each edit is called when it is undone."""


class StaleError(PipelineError):
    """The change was made on a version that is no longer the last."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """How the player wants the tune arranged."""

    setup: str = ""
    """Strings, capo and transposition, "38-45-50-55-59-64:0:-12"; empty for the best."""
    effort: options.Effort = "as is"
    ornaments: bool = False
    rounds: str = ""
    matters: tuple[tuple[str, float], ...] = ()
    pins: tuple[str, ...] = ()
    """What the player's hand fixes, as liltwright.pins reads it: "5:1/4=string 4"."""
    lines: str = ""
    """Which bass line each part takes: "A=restless B=still"."""


@dataclass(frozen=True, slots=True)
class State:
    """A tune on the page."""

    tune: Tune
    wishes: Wishes = field(default_factory=Wishes)


def applied(state: State, edit: Edit) -> State:
    """The state after an edit. Raises UsageError for an edit that makes no sense."""
    op = edit.get("op")
    if op in NOTE_OPS:
        changed = on_note(state.tune, edit)
        return replace(state, tune=_settled(changed, state.tune))
    if op in BAR_OPS:
        changed = on_bars(state.tune, edit)
        tune = _settled(changed, state.tune)
        return State(tune, fitting(state.wishes, tune))
    if op in _TUNE_OPS:
        return replace(state, tune=_TUNE_OPS[op](state.tune, edit))
    if op in _STATE_OPS:
        return replace(state, wishes=_STATE_OPS[op](state, edit))
    if op in _WISH_OPS:
        return replace(state, wishes=_WISH_OPS[op](state.wishes, edit))
    raise UsageError(f'There is no edit "{str(op)[:40]}": reload the page.')


def fitting(wishes: Wishes, tune: Tune) -> Wishes:
    """The wishes after bars and parts were changed: nothing that names what may be gone."""
    from liltwright.arrange.rounds import parse_plan, plan_text

    names = {part.name for part in tune.parts}
    plan = parse_plan(wishes.rounds) if wishes.rounds else ()
    left = tuple(
        replace(one, parts=tuple(part for part in one.parts if part.part in names)) for one in plan
    )
    rounds = wishes.rounds if left == plan else plan_text(left)
    return replace(wishes, pins=(), lines="", rounds=rounds)


def _settled(changed: Tune, before: Tune) -> Tune:
    """What follows from changed notes, whatever they are."""
    same = len(changed.written_bars()) == len(before.written_bars())
    doubts = _doubts_left(changed, before) if same else ()
    changed = replace(
        changed,
        doubts=doubts,
        overridden={**before.overridden, "notes": EDITED},
        chords_typed=tuple(
            chord for chord in changed.chords_typed if chord.bar < len(changed.written_bars())
        ),
    )
    heard = heard_with(changed, before) if same else bars_of_the_edit(changed, before)
    return replace(changed, bars_heard=heard)


def heard_with(changed: Tune, before: Tune) -> tuple[HeardBar, ...]:
    """The bars heard, those of changed bars of the page with their new notes.

    The last bar of a part is heard together with the pick-up that follows it.
    """
    heard = before.bars_heard
    if not heard:
        return heard
    first = 0 if heard[0].notes and heard[0].notes[0].start else 1
    last = Doubt(first + len(heard) - 1, 0.0, "-")
    printed = printed_bars(replace(before, doubts=(last,)))
    old, new = before.written_bars(), changed.written_bars()
    done = []
    for index, bar in enumerate(heard):
        here, after = printed.get(first + index), printed.get(first + index + 1)
        if here is None:
            done.append(bar)
            continue
        following = _pickup_before(new, after)
        same = old[here].notes == new[here].notes and _pickup_before(old, after) == following
        notes = new[here].notes
        if not same and following and new[here].kind != "pickup":
            room = all(note.start + note.length <= following[0].start for note in notes)
            notes = (*notes, *following) if room else notes
        done.append(bar if same else replace(bar, notes=notes))
    return tuple(done)


def _pickup_before(written: tuple[WrittenBar, ...], place: int | None) -> Bar:
    """The pick-up with which the part begins whose first bar this is; empty elsewhere."""
    if not place or written[place].kind != "bar" or written[place - 1].kind != "pickup":
        return ()
    return written[place - 1].notes


def _doubts_left(changed: Tune, before: Tune) -> tuple[Doubt, ...]:
    """The doubts of bars that hold what they held."""
    printed = printed_bars(before)
    old, new = before.written_bars(), changed.written_bars()
    return tuple(
        doubt for doubt in before.doubts
        if (place := printed.get(doubt.bar)) is None or old[place].notes == new[place].notes
    )  # fmt: skip


# ---------------------------------------------------------------- the tune as a whole


def _type(tune: Tune, edit: Edit) -> Tune:
    return _known(tune, options.TuneOptions(tune_type=options.tune_type(_text(edit))))


def _key(tune: Tune, edit: Edit) -> Tune:
    return _known(tune, options.TuneOptions(key=options.key(_text(edit))))


def _tempo(tune: Tune, edit: Edit) -> Tune:
    value = edit.get("to")
    if isinstance(value, bool) or not isinstance(value, int | float) or not 20 <= value <= 400:
        raise UsageError(f"{str(value)[:20]} is no tempo: give 20 to 400 beats a minute.")
    return replace(
        tune, beats_per_minute=float(value),
        overridden={**tune.overridden, "beats_per_minute": str(float(value))},
    )  # fmt: skip


def _title(tune: Tune, edit: Edit) -> Tune:
    return replace(tune, title=clean(" ".join(_text(edit).split())))


def _octave(tune: Tune, edit: Edit) -> Tune:
    from liltwright.notate.written import moved_octaves

    by = whole(edit, "by")
    if abs(by) > 3:
        raise UsageError(f"{by} octaves are too many: move by 1 to 3.")
    return moved_octaves(tune, by)


def _metre(tune: Tune, edit: Edit) -> Tune:
    meter = options.meter(_text(edit))
    changed = meter_changed(tune, meter)
    beat = Fraction(3, 8) if meter in ("6/8", "9/8", "12/8") else tune.beat
    if meter.endswith("/4") or meter.endswith("/2"):
        beat = Fraction(1, 4) if tune.beat == Fraction(3, 8) else tune.beat
    pace = tune.beats_per_minute * float(tune.beat / beat)
    changed = replace(changed, beat=beat, beats_per_minute=pace,
                      overridden={**tune.overridden, "meter": meter})  # fmt: skip
    return _settled(changed, tune)


def _known(tune: Tune, known: options.TuneOptions) -> Tune:
    from liltwright.notate.renotate import renotate
    from liltwright.notate.settings import NotateSettings

    # Without "notes" a heard tune would be read anew from the recording and lose what was mended.
    held = replace(
        tune, overridden={**tune.overridden, "notes": tune.overridden.get("notes", EDITED)}
    )
    held = replace(held, overridden={k: v for k, v in held.overridden.items() if k != "meter"})
    done = renotate(held, NotateSettings(tune_type=known.tune_type, key=known.key))
    return replace(done, doubts=tune.doubts)


def _right(tune: Tune, edit: Edit) -> Tune:
    first, last = whole(edit, "first"), whole(edit, "last")
    return replace(tune, doubts=tuple(d for d in tune.doubts if not first <= d.bar <= last))


def _chord(tune: Tune, edit: Edit) -> Tune:
    """A chord over a bar from a place on; an empty symbol takes it away."""
    bar, start = whole(edit, "bar"), fraction(edit, "start")
    if not 0 <= bar < len(tune.written_bars()):
        raise UsageError(f"There is no bar {bar} here.")
    symbol = clean(_text(edit, empty=True).strip(), 24)
    others = [c for c in tune.chords_typed if (c.bar, c.start) != (bar, start)]
    if symbol:
        from liltwright.arrange.chords import parse_symbol

        parse_symbol(symbol)
        others.append(TypedChord(bar, start, symbol))
    return replace(tune, chords_typed=tuple(sorted(others, key=lambda c: (c.bar, c.start))))


def _text(edit: Edit, name: str = "to", *, empty: bool = False) -> str:
    value = edit.get(name)
    if not isinstance(value, str) or len(value) > 300 or not (value.strip() or empty):
        raise UsageError(f'The edit needs a few words as "{name}".')
    return value


# ---------------------------------------------------------------- wishes


def _effort(wishes: Wishes, edit: Edit) -> Wishes:
    return replace(wishes, effort=options.effort(_text(edit)))


def _rounds(state: State, edit: Edit) -> Wishes:
    from liltwright.arrange.rounds import check_parts, parse_plan

    text = _text(edit, empty=True).strip()
    if text:
        check_parts(parse_plan(text), state.tune)
    return replace(state.wishes, rounds=text)


def _matters(wishes: Wishes, edit: Edit) -> Wishes:
    from liltwright.guitar.score import weights

    given = edit.get("to")
    if not isinstance(given, dict) or not all(isinstance(v, int | float) for v in given.values()):
        raise UsageError('What matters is given as factors, like {"flow": 2}.')
    weights({str(name): float(value) for name, value in given.items()})
    return replace(wishes, matters=tuple(
        (str(name), round(float(value), 3)) for name, value in sorted(given.items()) if value != 1
    ))  # fmt: skip


def _setup(wishes: Wishes, edit: Edit) -> Wishes:
    text = _text(edit, empty=True)
    if text:
        parse_setup(text)
    return replace(wishes, setup=text, pins=())


Strings = tuple[int, int, int, int, int, int]


def parse_setup(text: str) -> tuple[Strings, int, int]:
    """Strings, capo and transposition of a setup's name. Raises UsageError."""
    found = re.fullmatch(r"(\d{1,3}(?:-\d{1,3}){5}):(\d{1,2}):(-?\d{1,2})", text)
    if not found:
        raise UsageError("This names no tuning and capo: choose one of the list.")
    strings = tuple(int(one) for one in found[1].split("-"))
    if not all(20 <= midi <= 90 for midi in strings) or int(found[2]) > 11:
        raise UsageError("No guitar is tuned like that: choose one of the list.")
    return cast(Strings, strings), int(found[2]), int(found[3])


def setup_name(setup: Setup) -> str:
    """The name that parse_setup reads."""
    return f"{'-'.join(map(str, setup.strings_midi))}:{setup.capo}:{setup.transpose}"


def _pinned(state: State, edit: Edit) -> Wishes:
    """Hold a melody note to a string; string 0 lets it go, no bar lets all go."""
    from liltwright.pins import parse_pin, place_text

    if edit.get("all"):
        return replace(state.wishes, pins=())
    bar, at, string = whole(edit, "bar"), whole(edit, "note"), whole(edit, "string")
    written = state.tune.written_bars()
    if not (0 <= bar < len(written) and 0 <= at < len(written[bar].notes)):
        raise UsageError("Choose the note that shall be pinned.")
    if not 0 <= string <= 6:
        raise UsageError(f"There is no string {string}: 1 is the thinnest, 6 the thickest.")
    place = place_text(state.tune, bar, written[bar].notes[at].start)
    others = [pin for pin in state.wishes.pins if pin.partition("=")[0] != place]
    if string:
        others.append(f"{place}=string {string}")
        parse_pin(others[-1])
    return replace(state.wishes, pins=tuple(sorted(others)))


def _lined(state: State, edit: Edit) -> Wishes:
    """Choose the bass line of a part; empty for the usual one."""
    from liltwright.arrange.lines import parse_picks

    part, line = _text(edit, "part"), _text(edit, empty=True)
    picks = dict(one.split("=") for one in state.wishes.lines.split())
    picks.pop(part, None)
    if line:
        picks[part] = line
    text = " ".join(f"{name}={picks[name]}" for name in sorted(picks))
    parse_picks(text, state.tune)
    return replace(state.wishes, lines=text)


def _ornaments(wishes: Wishes, edit: Edit) -> Wishes:
    return replace(wishes, ornaments=bool(edit.get("to")))


_TUNE_OPS: dict[Any, Any] = {
    "type": _type, "metre": _metre, "key": _key, "tempo": _tempo, "title": _title,
    "octave": _octave, "right": _right, "chord": _chord,
}  # fmt: skip
_WISH_OPS: dict[Any, Any] = {
    "setup": _setup, "effort": _effort, "ornaments": _ornaments, "matters": _matters,
}  # fmt: skip
_STATE_OPS: dict[Any, Any] = {"pin": _pinned, "line": _lined, "rounds": _rounds}
