"""A written tune from what a file reader found: the last steps that every format shares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from liltwright.errors import PipelineError
from liltwright.keys import signature_of
from liltwright.limits import clean
from liltwright.pins import place_text
from liltwright.read.bars import ReadBar
from liltwright.read.checked import check_bars, checked_tune
from liltwright.read.folding import printed_form
from liltwright.read.kinds import beat_of, type_named, type_of_meter, usual_tempo
from liltwright.tune import (
    Candidates,
    KeyCandidate,
    KeyName,
    Part,
    Source,
    Tune,
    TuneType,
    TypeCandidate,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What a file says about its tune; None where it says nothing."""

    title: str = ""
    meter: str = "4/4"
    kind: str = ""
    """Words that may name the tune type, the surest first, separated by line ends."""
    key: KeyName | None = None
    signature: int | None = None
    whole_notes_a_minute: Fraction | None = None
    order: str = ""
    """Order of labelled parts, "ABA"."""
    pins: tuple[str, ...] = ()
    """What the user's hand fixes, with its places; see liltwright.pins."""
    warnings: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    """What in the file is not as it should be, with its place."""


def written_tune(bars: Sequence[ReadBar], stated: Stated, source: Source, *, which: str) -> Tune:
    """Fold the bars and fill in what the file leaves open.

    Raises PipelineError, naming the tune as `which`, when there are no notes or impossible ones.
    """
    check_bars(bars, stated.meter, which)
    try:
        folded = printed_form(bars, stated.meter, stated.order)
    except ValueError as fault:
        raise PipelineError(f"{which} cannot be read: {fault}.") from fault
    if not folded.parts:
        raise PipelineError(f"{which} has no notes.")
    tune_type, named = _kind(stated)
    beat = beat_of(tune_type, stated.meter)
    key = stated.key or _likely_key(folded.parts, Fraction(stated.meter))
    signature = stated.signature
    if signature is None or stated.key is None:
        signature = max(-7, min(7, signature_of(key.tonic, key.mode)))
    remarks = list(stated.remarks)
    if not named:
        remarks.append(
            f"The file does not say what kind of tune this is; {stated.meter} suggests {tune_type}."
        )
    if stated.key is None:
        remarks.append(no_key(key))
    tempo = stated.whole_notes_a_minute
    tune = Tune(
        source=source,
        tune_type=tune_type,
        meter=stated.meter,
        beat=beat,
        beats_per_minute=round(float(tempo / beat), 2) if tempo else usual_tempo(tune_type),
        tonic=key.tonic,
        mode=key.mode,
        signature=signature,
        parts=folded.parts,
        form=folded.form,
        title=clean(stated.title),
        candidates=Candidates(
            (TypeCandidate(tune_type, 1.0),) if named else (),
            (KeyCandidate(key.tonic, key.mode, 1.0),) if stated.key else (),
        ),
        warnings=stated.warnings,
        remarks=tuple(remarks),
        chords_typed=folded.chords,
    )
    over = [f"{place_text(tune, bar, start)}={wish}" for bar, start, wish in folded.pins]
    tune = replace(tune, pins=(*stated.pins, *over))
    return checked_tune(tune, which)


def no_key(key: KeyName) -> str:
    """The remark on a key that the notes alone suggest."""
    return f"The file names no key; the notes suggest {key.tonic} {key.mode}."


def _kind(stated: Stated) -> tuple[TuneType, bool]:
    """The tune type, and whether the file names it."""
    for text in (*stated.kind.splitlines(), stated.title):
        named = type_named(text)
        if named:
            return named, True
    return type_of_meter(stated.meter), False


def _likely_key(parts: tuple[Part, ...], bar_length: Fraction) -> KeyName:
    from liltwright.notate.key.evidence import KeyEvidence
    from liltwright.notate.key.rank import rank_keys

    best = rank_keys(KeyEvidence.of_parts(parts, bar_length))[0]
    return KeyName(best.tonic, best.mode)
