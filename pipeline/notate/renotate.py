"""Task: apply what the user fixed to a tune that is written already.

In: Tune and NotateSettings. Out: Tune.
Method: a tune that still holds what was heard is read from its notes again when its rhythm is to
    change; any other is barred anew, moved by octaves, and its keys are ranked again.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from liltwright.dances import dances
from liltwright.errors import UsageError, to_type
from liltwright.keys import parse_key, signature_of
from liltwright.notate.effects import without_effects, written_effects
from liltwright.notate.key.evidence import KeyEvidence
from liltwright.notate.key.rank import rank_keys
from liltwright.notate.key.remarks import key_remarks
from liltwright.notate.notate import notate
from liltwright.notate.settings import NotateSettings, overridden
from liltwright.notate.written import moved_octaves, rebarred
from liltwright.tune import (
    TUNE_TYPES,
    Candidates,
    Heard,
    KeyName,
    Tune,
    TypeCandidate,
)


def renotate(tune: Tune, settings: NotateSettings) -> Tune:
    """Apply what the user fixed to a written tune, and rank its keys anew.

    A tune that still holds what was heard, and was not edited by hand, is read from its notes
    again when its rhythm is to change. Raises UsageError when a written tune cannot be barred as
    asked.
    """
    said = tuple(written_effects(tune, settings.tune_type, settings.octave_shift))
    given_cents = settings.concert_cents
    settings = _with_earlier(tune, settings)
    rhythm = (
        settings.tune_type,
        settings.meter,
        settings.beats_per_minute,
        settings.first_bar_s,
        settings.concert_cents,
    )
    if tune.heard and "notes" not in tune.overridden and any(value is not None for value in rhythm):
        return _read_heard(tune, settings)
    if settings.first_bar_s is not None:
        raise UsageError(
            "The first bar line can only be moved in a recording: edit the bar lines in the tune "
            "file instead."
        )
    if given_cents is not None:
        raise UsageError(
            f"{to_type('concert', 'the concert pitch')} is for recordings: the notes of a written "
            "tune stand where they stand; leave it out."
        )
    tune = replace(tune, remarks=(*said, *without_effects(tune.remarks)))
    return _overridden(tune, settings)


def read_heard(tune: Tune, settings: NotateSettings) -> Tune:
    """The tune read again from the notes that were heard, however it was edited since.

    What was fixed in `overridden` holds where the settings say nothing else.
    """
    return _read_heard(tune, _with_earlier(tune, settings))


def _read_heard(tune: Tune, settings: NotateSettings) -> Tune:
    heard = Heard(tune.source, tune.heard, tune.tuning_offset_cents, tune.left_out, tune.warnings)
    again = notate(heard, settings=settings)
    return replace(again, title=settings.title or tune.title)


def _overridden(tune: Tune, settings: NotateSettings) -> Tune:
    if settings.meter is not None and settings.meter != tune.meter:
        tune = rebarred(tune, settings.meter)
    if settings.octave_shift is not None:
        tune = moved_octaves(tune, settings.octave_shift - tune.octave_shift)
    keys = rank_keys(KeyEvidence.of_parts(tune.parts, tune.bar_length))
    if settings.key is not None:
        tune = replace(tune, tonic=settings.key.tonic, mode=settings.key.mode)
    remarks = key_remarks(tune.parts, tune.bar_length, KeyName(tune.tonic, tune.mode))
    kind = settings.tune_type or tune.tune_type
    types = tune.candidates.tune_type
    if settings.tune_type is not None or not types:
        types = (TypeCandidate(kind, 1.0),)
    beat = tune.beat
    if settings.tune_type is not None and tune.meter in dances()[kind].meters:
        beat = Fraction(3, 8) if tune.meter.endswith("/8") else dances()[kind].beat
    bpm = settings.beats_per_minute or tune.beats_per_minute * float(tune.beat / beat)
    return replace(
        tune,
        tune_type=kind,
        beat=beat,
        beats_per_minute=bpm,
        signature=signature_of(tune.tonic, tune.mode),
        candidates=Candidates(types, keys),
        title=settings.title or tune.title,
        overridden={**tune.overridden, **overridden(settings)},
        remarks=tune.remarks + tuple(r for r in remarks if r not in tune.remarks),
    )


def _with_earlier(tune: Tune, settings: NotateSettings) -> NotateSettings:
    """The settings with what was fixed in an earlier run, where nothing new is said."""
    earlier = tune.overridden
    kind = earlier.get("tune_type")
    key, bpm = earlier.get("key"), earlier.get("beats_per_minute")
    octaves, first = earlier.get("octave_shift"), earlier.get("first_bar_s")
    concert = earlier.get("concert_cents") if tune.heard else None
    return NotateSettings(
        tune_type=settings.tune_type or (kind if kind in TUNE_TYPES else None),
        meter=settings.meter or earlier.get("meter"),
        key=settings.key or (parse_key(key) if key else None),
        beats_per_minute=settings.beats_per_minute or (float(bpm) if bpm else None),
        octave_shift=settings.octave_shift
        if settings.octave_shift is not None
        else (int(octaves) if octaves else None),
        first_bar_s=settings.first_bar_s
        if settings.first_bar_s is not None
        else (float(first) if first else None),
        concert_cents=settings.concert_cents
        if settings.concert_cents is not None
        else (float(concert) if concert else None),
        title=settings.title or earlier.get("title"),
    )
