"""A set of tunes -> sheets, sound and one performance to practise from.

Task: every file of a set, by name, as bytes.
In:   the plan, the tunes with their arrangements in playing order (with lead-ins).
Out:  file name -> content: set.txt, set.pdf, set.mid, set.ogg, and of each tune set-N.json and
      set-N.musicxml.
Method: each tune's performance by the writers of layers, laid end to end. Where strings or capo
    change, the sound waits for a breath; else the next tune falls in on the bar line.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from liltwright.arrange.sets import SetPlan
from liltwright.options import OutputOptions
from liltwright.progress import Progress, silent
from liltwright.records import to_json
from liltwright.tab import Arrangement
from liltwright.tune import Tune
from liltwright.write.sheet.layout import PERFORMANCE

if TYPE_CHECKING:
    import mido

BREATH_S = 3.0
"""Silence where something has to be changed: time to name it, not to do it."""
Played = tuple[Tune, Arrangement]


def set_files(
    plan: SetPlan,
    played: Sequence[Played],
    words: Sequence[str],
    output: OutputOptions,
    progress: Progress = silent,
) -> dict[str, bytes]:
    """Every file of a set. played : in playing order; words : the plan as it is said."""
    from liltwright.write.formats.musicxml import layer_to_musicxml
    from liltwright.write.formats.tablature import layer_to_text

    progress("writing the set", 0.0)
    tabs = [layer_to_text(tune, made, PERFORMANCE) for tune, made in played]
    files = {
        "set.json": to_json(plan).encode(),
        "set.txt": "\n\n\n".join(["\n".join(words), *tabs]).encode(),
        "set.mid": _midi(played),
    }
    for number, (tune, made) in enumerate(played, start=1):
        files[f"set-{number}.json"] = to_json(made).encode()
        files[f"set-{number}.musicxml"] = layer_to_musicxml(tune, made, PERFORMANCE)
    if output.sheets:
        progress("engraving", 0.3)
        files["set.pdf"] = _pdf(played, words, output)
    if output.sound:
        progress("playing the set", 0.7)
        files["set.ogg"] = _sound(played, [bool(c.strings or c.capo) for c in plan.changes])
    return files


def _pdf(played: Sequence[Played], words: Sequence[str], output: OutputOptions) -> bytes:
    """The performance of each tune on pages of its own; the plan stands on the first."""
    from liltwright.write.cautions import HAND, printed_cautions
    from liltwright.write.engrave.engraving import engrave_layer
    from liltwright.write.engrave.sheets import SheetWords, set_pages

    pages = []
    for number, (tune, made) in enumerate(played, start=1):
        notes = [("", line.strip()) for line in words] if number == 1 else []
        last = number == len(played)
        cautions = printed_cautions(made.setup, made.cautions) if last else (HAND,)
        music = engrave_layer(tune, made, PERFORMANCE, paper=output.paper)
        title = f"{number} of {len(played)}: performance"
        pages.append((music, SheetWords(title, tuple(notes), tuple(cautions))))
    return set_pages(pages, paper=output.paper)


def _sound(played: Sequence[Played], changes: Sequence[bool]) -> bytes:
    from liltwright.write.sound.encode import encode_audio
    from liltwright.write.sound.synth import layer_audio

    pieces, starts, now = [], [], 0
    rate = 1
    for number, (tune, made) in enumerate(played):
        sound = layer_audio(tune, made, PERFORMANCE)
        rate = sound.sample_rate
        starts.append(now)
        pieces.append(sound.samples)
        wait = BREATH_S if number < len(changes) and changes[number] else 0.0
        now += round((sound.bars[-1].end_s + wait) * rate)
    whole = np.zeros(max(s + len(p) for s, p in zip(starts, pieces, strict=True)), np.float32)
    for start, piece in zip(starts, pieces, strict=True):
        whole[start : start + len(piece)] += piece
    peak = float(np.abs(whole).max(initial=0.0))
    return encode_audio(whole / np.float32(max(peak, 1.0)), rate, "ogg")


def _midi(played: Sequence[Played]) -> bytes:
    """One file: each tune's tracks go on where the tune before has ended, joined by name."""
    import mido

    from liltwright.write.formats.midi import layer_to_midi

    whole: mido.MidiFile | None = None
    tracks: dict[str, list[tuple[int, mido.Message]]] = {}
    now = 0
    for tune, made in played:
        one = mido.MidiFile(file=io.BytesIO(layer_to_midi(tune, made, PERFORMANCE)))
        if whole is None:
            whole = mido.MidiFile(type=1, ticks_per_beat=one.ticks_per_beat)
        end = now
        for number, track in enumerate(one.tracks):
            mine = tracks.setdefault(track.name if number else "", [])
            at = now
            for message in track:
                at += message.time
                end = max(end, at)
                if message.type != "end_of_track":
                    mine.append((at, message))
        now = end
    assert whole is not None
    for messages in tracks.values():
        whole.tracks.append(_track(messages, now))
    out = io.BytesIO()
    whole.save(file=out)
    return out.getvalue()


def _track(messages: Sequence[tuple[int, mido.Message]], end: int) -> mido.MidiTrack:
    import mido

    track, last = mido.MidiTrack(), 0
    for at, message in messages:
        track.append(message.copy(time=at - last))
        last = at
    track.append(mido.MetaMessage("end_of_track", time=end - last))
    return track
