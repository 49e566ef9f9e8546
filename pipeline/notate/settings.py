"""What the user fixed of a tune, for notating it and for notating it again."""

from __future__ import annotations

from dataclasses import dataclass, fields

from liltwright.tune import (
    KeyName,
    TuneType,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotateSettings:
    """What the user fixes instead of the program; None leaves it to be found."""

    tune_type: TuneType | None = None
    meter: str | None = None
    key: KeyName | None = None
    beats_per_minute: float | None = None
    octave_shift: int | None = None
    first_bar_s: float | None = None
    """Where the first full bar begins, in seconds of the recording."""
    concert_cents: float | None = None
    """How far the recording lies above A = 440 Hz; decides between two semitones."""
    title: str | None = None


def overridden(settings: NotateSettings) -> dict[str, str]:
    """The fixed values as text, by option name."""
    texts: dict[str, str] = {}
    for one in fields(settings):
        value = getattr(settings, one.name)
        if isinstance(value, KeyName):
            texts[one.name] = f"{value.tonic}:{value.mode}"
        elif value is not None:
            texts[one.name] = str(value)
    return texts
