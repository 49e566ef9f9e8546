"""Sung notes that our own ear takes for talk.

Task   : notes of our own ear -> the same, with what lies between them filled in where somebody
         plainly goes on singing.
In     : RawNotes of our own ear, the recording, its events.
Out    : RawNotes, in order, not overlapping.
Method : our own network is wary of words: of a singer with a text it may leave out syllables. Where
         a good part of the recording is loud and periodic but without notes, a general pitch
         tracker (swift-f0) listens to those places too. Its notes are taken where they belong to
         the singing: between notes of our own ear, in their range, or leading on from them without
         a long rest and not all too like speech.
References: L. Nieradzik, "SwiftF0", 2025 (the tracker). Joining is our own.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.hear.audio.events import Events
from liltwright.hear.audio.recording import Audio
from liltwright.hear.clean.finepitch import measure_pitch, periodic_share
from liltwright.hear.clean.talk import is_talk, talk_scores
from liltwright.hear.ears.f0 import F0Track, swift_track
from liltwright.hear.ears.raw import RawNote
from liltwright.hear.ears.segment import segment

WORTH_SHARE = 0.12
"""Uncovered singing inside the tune must last this share of the notes' time to be worth a second
listening; talk before or after it is not."""
LOUD_DB, ROOM_DB = 25.0, 12.0
"""Below the usual level, and above the noise of the room, where something sounds."""
TAIL_S = 0.08  # seconds that a note rings on after its end
SHORTEST_HOLE_S = 0.12  # a shorter hole is a rest or a consonant
SHORTEST_FILL_S = 0.09  # a shorter note is not put in
BETWEEN_S = 2.5  # so near on both sides must notes of the tune be
LEADS_S, LEADS_TALK = 1.5, 2.0
"""Seconds before the tune, and log odds of talk, within which a note leads into it."""
JOINED_S = 0.12  # notes of one pitch nearer than this are one
RANGE_SEMITONES = 15.0  # from the middle of the tune; farther is no note of it
SAME_SEMITONES = 0.6  # pitches nearer than this are one
TRUST = 0.6  # how far the general tracker is believed where our own ear heard nothing

Span = tuple[float, float]


def fill_in(notes: list[RawNote], audio: Audio, events: Events) -> list[RawNote]:
    """The notes and what was sung between them; the notes themselves when nothing was.

    No notes when more is left without notes than has any, all of it glides like speech and nothing
    is held: then somebody talks, and now and then a vowel was taken for a note.
    """
    if not notes:
        return notes
    holes = _sung_holes(notes, audio, events)
    sung_s = sum(end - start for start, end in holes)
    inside = [one for one in holes if notes[0].onset_s < one[0] < notes[-1].onset_s]
    inside_s = sum(end - start for start, end in inside)
    heard_s = sum(note.offset_s - note.onset_s for note in notes)
    if inside_s < WORTH_SHARE * heard_s:
        return notes
    found = [one for hole in holes for one in _notes_in(hole, audio, events)]
    both = [*notes, *found]
    if sung_s > heard_s and is_talk(both, _talk(both, audio)):
        return []
    return _joined(notes, _belonging(found, notes, audio))


def _sung_holes(notes: list[RawNote], audio: Audio, events: Events) -> list[Span]:
    """Loud, periodic stretches that no note covers."""
    level = events.level_db
    usual = float(np.quantile(level, 0.9))
    loud = level > min(max(events.noise_db + ROOM_DB, usual - LOUD_DB), usual - 8.0)
    for note in notes:
        first = max(0, round((note.onset_s - 0.02) / events.hop_s))
        loud[first : round((note.offset_s + TAIL_S) / events.hop_s)] = False
    edges = np.flatnonzero(np.diff(np.concatenate(([0], loud.astype(np.int8), [0]))))
    spans = edges.reshape(-1, 2) * events.hop_s
    return [
        (float(start), float(end))
        for start, end in spans
        if end - start >= SHORTEST_HOLE_S and periodic_share(audio, start, end) > 0.5
    ]


def _notes_in(hole: Span, audio: Audio, events: Events) -> list[RawNote]:
    """What the general tracker hears in a hole, cut to it."""
    start_s, end_s = max(0.0, hole[0] - 0.3), min(audio.duration_s, hole[1] + 0.3)
    part = audio.samples[round(start_s * audio.sample_rate) : round(end_s * audio.sample_rate)]
    track = swift_track(part, audio.sample_rate)
    track = F0Track(track.times_s + start_s, track.pitch_midi, track.voiced)
    cut = []
    for note in segment(track, events):
        onset_s = max(note.onset_s, hole[0] - TAIL_S)
        offset_s = min(note.offset_s, hole[1])
        if offset_s - onset_s >= SHORTEST_FILL_S:
            belief = TRUST * note.confidence
            cut.append(RawNote(onset_s, offset_s, note.midi, belief, ornament=0.0))
    return cut


def _belonging(found: list[RawNote], notes: list[RawNote], audio: Audio) -> list[RawNote]:
    """Notes that belong to the singing: between own notes, or in a row that leads out from them."""
    middle = float(np.median([note.midi for note in notes]))
    found = [note for note in found if abs(note.midi - middle) < RANGE_SEMITONES]
    if not found:
        return []
    talk = dict(zip(map(id, found), _talk(found, audio), strict=True))
    kept: list[RawNote] = []
    first_s, last_s = notes[0].onset_s, notes[-1].offset_s
    for note in found:  # what lies inside
        before_s = max((n.offset_s for n in notes if n.onset_s < note.onset_s), default=-np.inf)
        after_s = min((n.onset_s for n in notes if n.onset_s >= note.onset_s), default=np.inf)
        if note.onset_s - before_s < BETWEEN_S and after_s - note.offset_s < BETWEEN_S:
            kept.append(note)
    for note in found:  # and what follows, one after another
        if 0 <= note.onset_s - last_s + TAIL_S < LEADS_S and talk[id(note)] < LEADS_TALK:
            kept.append(note)
            last_s = note.offset_s
    for note in reversed(found):
        if 0 <= first_s + TAIL_S - note.offset_s < LEADS_S and talk[id(note)] < LEADS_TALK:
            kept.append(note)
            first_s = note.onset_s
    return sorted({id(note): note for note in kept}.values(), key=lambda note: note.onset_s)


def _talk(notes: list[RawNote], audio: Audio) -> np.ndarray:
    return talk_scores(notes, measure_pitch(audio.samples, audio.sample_rate, notes))


def _joined(notes: list[RawNote], fills: list[RawNote]) -> list[RawNote]:
    """All in order; a fill that goes on with the note before it lengthens that note."""
    done: list[RawNote] = []
    fresh = {id(fill) for fill in fills}
    for note in sorted([*notes, *fills], key=lambda note: note.onset_s):
        last = done[-1] if done else None
        goes_on = (
            last is not None
            and id(note) in fresh
            and note.onset_s - last.offset_s < JOINED_S
            and abs(note.midi - last.midi) < SAME_SEMITONES
        )
        if last is not None and goes_on:
            done[-1] = replace(last, offset_s=max(last.offset_s, note.offset_s))
        elif last is not None and id(note) in fresh:
            done.append(replace(note, onset_s=max(note.onset_s, last.offset_s)))
        else:
            done.append(note)
    return done
