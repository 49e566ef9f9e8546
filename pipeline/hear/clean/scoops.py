"""What singers do on the way to a note, and what is no note of theirs at all.

Task   : notes of a voice -> the notes that were meant.
In     : RawNotes in order of onset, not overlapping, how clear the pitch of each is, Events.
Out    : RawNotes in order, each with the number of the heard note whose pitch it has.
Method : singers begin notes beside their pitch and put them right: a short piece, less than two
         semitones away, that runs into a longer one is the beginning of that note. A note into
         which another of nearly its pitch runs without any onset has drifted, and one of its own
         pitch with next to no onset goes on. What has hardly any pitch, or is far below the
         level of the singing and not clear, is breath or room. Short is short against the
         recording's own usual step from note to note, so that fast tunes keep their quick notes.
         The onset is that of the first piece, the pitch that of the longest.
References: scoops and their share of a note: J. Sundberg, "The Science of the Singing Voice",
         1987 (from memory); kinds of fault: E. Molina et al., ISMIR 2014; numbers:
         models/hearing/scoops.json and its card.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from liltwright.hear.audio.events import Events
from liltwright.hear.ears.raw import RawNote
from liltwright.models import read_json

STEP_S = (0.06, 2.0)  # onsets of a tune lie so far apart; others say nothing of its pace
USUAL_STEP_S = 0.3  # seconds from note to note where the recording tells nothing


@dataclass(frozen=True, slots=True)
class Meant:
    """A note that was meant, and the number of the heard one whose pitch it has."""

    note: RawNote
    source: int


def meant_notes(
    notes: list[RawNote], clarity: np.ndarray, events: Events, voice: float
) -> list[Meant]:
    """What was meant; `clarity` shape (n_notes,), `voice` as of attack.voice_share.

    Instruments stay as they are.
    """
    table = read_json("hearing/scoops.json")
    all_of_them = [Meant(note, i) for i, note in enumerate(notes)]
    if voice < table["voice"]:
        return all_of_them
    sung = _sung(all_of_them, clarity, events, table)
    short_s = min(table["short_s"], table["short_share"] * usual_step_s(notes))
    done: list[Meant] = []
    for one in sung:
        if done and (joined := _joined(done[-1], one, short_s, table)):
            done[-1] = joined
        else:
            done.append(one)
    return done


def usual_step_s(notes: list[RawNote]) -> float:
    """Median time from onset to onset, rests and specks left out."""
    steps = np.diff([note.onset_s for note in notes])
    steps = steps[(steps > STEP_S[0]) & (steps < STEP_S[1])]
    return float(np.median(steps)) if len(steps) else USUAL_STEP_S


def _sung(
    notes: list[Meant], clarity: np.ndarray, events: Events, table: dict[str, float]
) -> list[Meant]:
    """Without breath and room."""
    level = np.array([_level_db(one.note, events) for one in notes])
    below = np.median(level) - level if len(level) else level
    belief = np.array([one.note.confidence for one in notes])
    quiet = (below > table["quiet_db"]) & (clarity < table["quiet_clarity"])
    vague = (clarity < table["vague_clarity"]) & (belief < table["vague_belief"])
    return [one for one, out in zip(notes, quiet | vague, strict=True) if not out]


def _level_db(note: RawNote, events: Events) -> float:
    first = min(int(note.onset_s / events.hop_s), len(events.level_db) - 1)
    return float(np.median(events.level_db[first : int(note.offset_s / events.hop_s) + 1]))


def _joined(before: Meant, after: Meant, short_s: float, table: dict[str, float]) -> Meant | None:
    """The two as one note; None when they are two."""
    first, second = before.note, after.note
    if second.onset_s - first.offset_s > table["touching_s"]:
        return None
    length_s, next_s = first.offset_s - first.onset_s, second.offset_s - second.onset_s
    away = abs(second.midi - first.midi)
    scoop = length_s <= min(short_s, table["of_next"] * next_s) and away <= table["scoop_semitones"]
    drift = second.confidence < table["unheard"] and away < table["drift_semitones"]
    goes_on = second.confidence < table["hardly_heard"] and away < table["same_semitones"]
    if not (scoop or drift or goes_on):
        return None
    longest = after if scoop or next_s > length_s else before
    both = replace(
        longest.note,
        onset_s=first.onset_s,
        offset_s=second.offset_s,
        confidence=max(first.confidence, second.confidence),
        readings=max(first.readings, second.readings),
        again=(*first.again, *second.again),
    )
    return Meant(both, longest.source)
