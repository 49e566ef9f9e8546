"""What the report's player plays: a bank of single tones, and scores that say when each sounds.

Task: let a web page play every layer at any speed, any part of it, melody and bass apart.
In:   played notes (synth.py). Out: one mp3 of all tones, and plain data.
Method: each tone that any score needs is put once into one recording, as long as its longest note
    at the slowest speed; the page cuts it out and lays it down, so that slow playing stretches
    nothing. The recording begins with a short pulse by which the page finds how much silence its
    own mp3 decoder put in front.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from liltwright.write.sheet.timing import PlayedBar
from liltwright.write.sound.encode import encode_audio
from liltwright.write.sound.pluck import SAMPLE_RATE, Pluck, string_tone
from liltwright.write.sound.synth import DAMP_S, LET_GO_S, PlayedNote, until_needed

SLOWEST = 0.5  # of the player's speeds, by which tones must last longer
PULSE_S = 0.2
"""Where the pulse stands in the recording; the first tone follows at FIRST_S."""
FIRST_S = 0.4  # seconds
_LONGEST_S = 2.6  # seconds of a tone; later it is hardly heard
_GAP_S = 0.05  # seconds between tones
_LEVEL = 0.03  # of full scale, so that chords do not clip
_Key = tuple[int, int, float, Pluck]


class Bank:
    """Collects tones while scores are added. Not frozen: it is filled, read once, thrown away."""

    def __init__(self) -> None:
        """An empty bank."""
        self._need_s: dict[_Key, float] = {}
        self._index: dict[_Key, int] = {}

    def score(
        self, notes: Iterable[PlayedNote], bars: Sequence[PlayedBar], layers: Sequence[str] = ()
    ) -> dict[str, Any]:
        """Plain data of a score: notes and bars in milliseconds.

        notes: [onset, length, tone, loudness in percent, "m", "b" or "i"];
        bars: [written bar, start, end, printed number, part, round].
        """
        rows = []
        for note, next_s in sorted(until_needed(notes), key=lambda pair: pair[0].onset_s):
            length_s = min(note.end_s, next_s) - note.onset_s
            release_s = DAMP_S if next_s < note.end_s + LET_GO_S else LET_GO_S
            tone = self._tone((note.string, note.open_midi, note.midi, note.pluck), length_s)
            rows.append([
                round(1000 * note.onset_s), round(1000 * (length_s + release_s / 2)), tone,
                round(100 * note.loud), note.part[0],
            ])  # fmt: skip
        return {
            "notes": rows,
            "bars": [
                [bar.index, round(1000 * bar.start_s), round(1000 * bar.end_s), bar.number,
                 bar.part, bar.round] for bar in bars
            ],
            "layers": list(layers),
        }  # fmt: skip

    def _tone(self, key: _Key, length_s: float) -> int:
        need_s = min(length_s / SLOWEST + 0.08, _LONGEST_S)
        self._need_s[key] = max(need_s, self._need_s.get(key, 0.0))
        return self._index.setdefault(key, len(self._index))

    def tones(self) -> list[list[float]]:
        """Begin and length of each tone in the recording, in seconds."""
        found, at = [], FIRST_S
        for key in self._index:
            found.append([round(at, 4), round(self._need_s[key], 4)])
            at += self._need_s[key] + _GAP_S
        return found

    def recording(self) -> bytes:
        """All tones one after another as mp3."""
        tones = self.tones()
        end_s = sum(tones[-1]) + _GAP_S if tones else FIRST_S
        out = np.zeros(int(end_s * SAMPLE_RATE) + 1, np.float32)
        pulse = int(PULSE_S * SAMPLE_RATE)
        out[pulse : pulse + 12] = 0.9
        for (begin_s, length_s), key in zip(tones, self._index, strict=True):
            begin, length = round(begin_s * SAMPLE_RATE), int(length_s * SAMPLE_RATE)
            out[begin : begin + length] = string_tone(*key)[:length] * _LEVEL
        return encode_audio(out, SAMPLE_RATE, "mp3")
