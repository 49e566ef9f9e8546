"""Hearing: a recording of one melody -> its notes as performed.

Task   : find the notes of the tune, and what in the recording is not the tune.
In     : Audio.
Out    : Heard: notes in order of onset, concert pitch taken out. Notes of the tune (role "note")
         never overlap; ornaments may lie inside the note that they decorate (see ornaments.py).
Method : an ear finds raw notes (our own network, or a general tracker as an alternative). What
         follows is the same for every ear: the fine pitch of each note, octave errors put right,
         what is not the tune sorted out, concert pitch and its drift taken out, confidence,
         ornaments.
References: named in the modules.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.counting import count
from liltwright.errors import PipelineError
from liltwright.hear.audio.events import find_events
from liltwright.hear.audio.recording import Audio
from liltwright.hear.clean.attack import at_the_vowels, voice_share
from liltwright.hear.clean.concert import concert_pitch
from liltwright.hear.clean.confidence import BAND, calibrated
from liltwright.hear.clean.finepitch import NotePitch, measure_pitch, settled_pitch
from liltwright.hear.clean.nontune import TALKING, sort_out
from liltwright.hear.clean.octaves import octave_shifts
from liltwright.hear.clean.ornaments import label_ornaments
from liltwright.hear.clean.scoops import meant_notes
from liltwright.hear.clean.several import closing_chord, foreign_shares, is_several
from liltwright.hear.ears.accompanied import is_accompanied, lead_in_the_middle
from liltwright.hear.ears.by_name import first_piece, raw_notes
from liltwright.hear.ears.facing import facing_the_lead
from liltwright.hear.ears.network import Known
from liltwright.hear.ears.raw import RawNote
from liltwright.hear.settings import HearSettings
from liltwright.hear.takes import takes_warning
from liltwright.options import Ear
from liltwright.progress import Progress, silent
from liltwright.tune import Heard, LeftOut, NoteEvent, Restrike

FEWEST_NOTES = 8  # fewer are no tune to judge by
SURE_CLARITY = 0.5  # of a note, 0 to 1, from which on its fine pitch is believed
LEAST_APART_S = 0.05  # seconds after its onset from which on a note may be struck again
BRIEF_S = 0.065  # a shorter note is short for an ornament's
ROUGHNESS_SEMITONES: dict[Ear, float] = {
    "own": 0.25, "swift-f0": 0.3, "pyin": 0.3, "basic-pitch": 0.65,
}  # fmt: skip
"""How far from the truth the pitches of an ear may lie when it has the right note."""
LEAD = "Several play at once: the leading line was followed through the accompaniment."
SEVERAL = (
    "Several instruments or voices seem to sound at once: the leading line was followed as far "
    "as it goes; record the melody alone for a sure result."
)


def hear(
    audio: Audio, *, settings: HearSettings = HearSettings(), progress: Progress = silent
) -> Heard:
    """The notes of a recording. Raises PipelineError when there is no tune in it.

    Where several sound at once the band's ear follows the lead, unless the settings say that one
    plays alone.
    """
    if settings.players == "band":
        return _hear_band(audio, settings, progress, {})
    if settings.players == "solo" or settings.ear != "own":
        return _hear(audio, settings, progress)
    known: Known = {}
    if is_accompanied(audio, first_piece(audio), known):
        return _hear_band(audio, replace(settings, players="band"), progress, known)
    return _hear(audio, settings, progress, known)


def _hear_band(audio: Audio, settings: HearSettings, progress: Progress, known: Known) -> Heard:
    """The lead of a band; of a stereo recording, in the mix in which it stands out most."""
    facing = towards_the_lead(audio, known)
    return _hear(facing, settings, progress, known if facing is audio else {})


def towards_the_lead(audio: Audio, known: Known) -> Audio:
    """The mix of a stereo recording in which the lead stands out most; or the audio itself."""
    if audio.beside is None:
        return audio
    return facing_the_lead(audio, lead_in_the_middle(first_piece(audio), audio.sample_rate, known))


def _hear(
    audio: Audio, settings: HearSettings, progress: Progress, known: Known | None = None
) -> Heard:
    """What was heard by one ear."""
    band = settings.players == "band"
    events = find_events(audio.samples, audio.sample_rate)
    raw = raw_notes(audio, events, settings=settings, progress=progress, known=known)
    raw, measured = _fine_pitch(raw, audio, settings)
    sorted_out = sort_out(raw, measured, events, audio)
    kept = np.flatnonzero(sorted_out.is_tune)
    _check_tune(audio, len(kept), sorted_out.left_out)
    raw = [raw[i] for i in kept]
    foreign = foreign_shares(audio.samples, audio.sample_rate, raw)
    several = band or is_several(foreign)
    chord = () if several else closing_chord(raw, foreign)
    raw, foreign = raw[: len(raw) - len(chord)], foreign[: len(raw) - len(chord)]
    clarity = measured.clarity[kept][: len(raw)]
    spread = measured.spread_cents[kept][: len(raw)]
    voice = 0.0 if several else voice_share(raw, spread)
    if voice > 0.0:
        meant = meant_notes(raw, clarity, events, voice)
        kept = np.array([one.source for one in meant], dtype=int)
        clarity, spread, foreign = clarity[kept], spread[kept], foreign[kept]
        _check_tune(audio, len(meant), sorted_out.left_out)
        raw = _settled(
            at_the_vowels([one.note for one in meant], events, audio, voice), audio, voice
        )
    offsets = _offsets(raw)
    confidence = calibrated(
        raw, clarity, spread, foreign, ear=BAND if band else settings.ear,
        several=several and not band, voice=voice,
    )  # fmt: skip
    raw = [
        replace(note, midi=note.midi - cents / 100, confidence=sure)
        for note, cents, sure in zip(raw, offsets, confidence, strict=True)
    ]
    notes = tuple(_rounded(note, alone=not several) for note in label_ornaments(raw))
    said = [LEAD] if band else [SEVERAL] if several else []
    return Heard(
        source=audio.source,
        notes=notes,
        tuning_offset_cents=round(float(np.mean(offsets)), 1),
        left_out=(*sorted_out.left_out, *chord[:1]),
        warnings=(*audio.warnings, *said, *takes_warning(notes)),
        band=band,
    )


def _check_tune(audio: Audio, notes: int, left_out: tuple[LeftOut, ...]) -> None:
    if notes >= FEWEST_NOTES:
        return
    found = count(notes, "note")
    name = audio.source.file
    if any(one.why == TALKING for one in left_out):
        raise PipelineError(
            f"{name} holds talking but no tune ({found} found, at least {FEWEST_NOTES} are "
            "needed): hum, whistle or play one melody."
        )
    raise PipelineError(
        f"{name} holds no tune that can be followed ({found} found, at least "
        f"{FEWEST_NOTES} are needed; talking and noise do not count): hum, whistle or play one "
        "melody, close to the microphone."
    )


def _fine_pitch(
    raw: list[RawNote], audio: Audio, settings: HearSettings
) -> tuple[list[RawNote], NotePitch]:
    """Notes with measured pitch and without octave errors, and the measurements.

    In a band the sound itself does not tell the octave of the lead: that of its ear stays.

    A measured pitch further from the ear's than the ear is rough is that of something else that
    sounds (a string that rings on, the neighbours of a brief note): the ear's own then stays.
    """
    measured = measure_pitch(audio.samples, audio.sample_rate, raw)
    shifts = octave_shifts(
        np.array([note.onset_s for note in raw]),
        np.array([note.offset_s for note in raw]),
        measured.midi,
        measured,
    )
    if settings.players == "band":
        shifts = np.zeros_like(shifts)
    notes = [replace(note, midi=note.midi + int(s)) for note, s in zip(raw, shifts, strict=True)]
    for i in np.flatnonzero(shifts):
        again = measure_pitch(audio.samples, audio.sample_rate, [notes[i]])
        measured.midi[i], measured.clarity[i] = again.midi[0], again.clarity[0]
    sure = measured.clarity > SURE_CLARITY
    moved = np.abs(measured.midi - np.array([note.midi for note in notes]))
    short = np.array([note.offset_s - note.onset_s < BRIEF_S for note in notes], dtype=bool)
    reach = ROUGHNESS_SEMITONES[settings.ear]
    sure &= moved < np.where(short, min(reach, 0.35), reach)
    notes = [
        replace(note, midi=float(fine)) if clear else note
        for note, fine, clear in zip(notes, measured.midi, sure, strict=True)
    ]
    return notes, measured


def _settled(raw: list[RawNote], audio: Audio, voice: float) -> list[RawNote]:
    """Sung notes with the pitch that they mostly have between the begin and end found last."""
    pitches = settled_pitch(audio.samples, audio.sample_rate, raw)
    return [
        replace(note, midi=note.midi + voice * (float(pitch) - note.midi))
        for note, pitch in zip(raw, pitches, strict=True)
    ]


def _offsets(raw: list[RawNote]) -> np.ndarray:
    """Concert pitch in cents at each note; long, sure notes tell more."""
    onset_s = np.array([note.onset_s for note in raw])
    length_s = np.array([note.offset_s for note in raw]) - onset_s
    weights = np.clip(length_s / 0.15, 0.1, 1.0) * np.array([note.confidence for note in raw])
    return concert_pitch(onset_s, np.array([note.midi for note in raw]), weights)


def _rounded(note: NoteEvent, *, alone: bool) -> NoteEvent:
    """Times to a tenth of a millisecond, pitch to a tenth of a cent.

    Moments of another beginning are kept inside the note, and where one plays alone.
    """
    first_s, last_s = note.onset_s + LEAST_APART_S, note.offset_s
    again = tuple(
        Restrike(round(one.at_s, 4), round(one.belief, 3))
        for one in note.again
        if alone and first_s < one.at_s < last_s
    )
    return replace(
        note,
        onset_s=round(note.onset_s, 4),
        offset_s=round(note.offset_s, 4),
        midi=round(float(note.midi), 3),
        confidence=round(float(note.confidence), 3),
        again=again,
    )
