"""Why a setup ranks where it does, in a guitarist's words.

Task: two or three sentences with facts for the best setups, and why the usual suspects came lower.
In: the tune, the scored setups, their paths. Out: sentences.
Method: the parts in which a setup gains most over the middle of the field (weight times
difference) are told, each by a fact counted on its own path.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liltwright.guitar.arranged import Promised
from liltwright.guitar.candidates import Question
from liltwright.guitar.fingering import problem_of
from liltwright.guitar.path_facts import PathFacts, path_facts
from liltwright.guitar.score import Field, part_names
from liltwright.guitar.setups import capo_words, setup_of, what_does_not_fit
from liltwright.guitar.tension import WORDS
from liltwright.guitar.tunings import (
    catalogue,
    changes,
    parse_tuning,
    retuning_steps,
    tuning_of,
)
from liltwright.guitar.wording import bar_words, key_words, number, string_words
from liltwright.keys import pitch_class, transpose_key
from liltwright.tab import RankedSetup, Setup

SUSPECTS = (("standard", 0), ("drop D", 0), ("DADGAD", 0))
TOLD = 3  # reasons given for a setup
TOPICS = {"root": "bass strings", "drones": "bass strings", "open": "bass strings", "room": "flow"}
"""Parts that say nearly the same when a setup is told to be worse."""
THUMB_FROM = 4
"""Strings 4 to 6 are the thumb's."""
FAMILIAR = 0.6
"""Tunings at least this usual are taken to be known."""


class Explainer:
    """Sentences about the setups of one search."""

    def __init__(self, asked: Question, field: Field, parts: np.ndarray) -> None:
        """Keep what the sentences need; nothing is searched yet."""
        self.tune, self.facts, self.player = asked.tune, asked.facts, asked.player
        self.search, self.weight = asked.search, asked.weight
        self.field, self.parts = field, parts
        self.middle = np.median(parts, axis=0)
        self.used = {parse_tuning(name)[0] for name in asked.player.tunings_used}

    def reasons(self, setup: Setup, row: int, promised: Promised | None = None) -> tuple[str, ...]:
        """Where it sounds, then the parts in which this setup gains most, then hard bars.

        promised : what is heard in the arrangement; without it the strings alone are spoken of
        """
        seen = self.seen(setup)
        gain = self.weight * (self.parts[row] - self.middle)
        told: list[str] = []
        for column in np.argsort(-gain, kind="stable"):
            sentence = self._good(part_names()[column], setup, seen, promised)
            if sentence and sentence not in told and gain[column] > 0 and len(told) < TOLD:
                told.append(sentence)
        ends = [text for text in (self._both_homes(setup), self._nearest(setup)) if text]
        if seen.hardest:
            ends.append(f"Hardest: {bar_words(seen.hardest)}.")
        if seen.rushed_bars:
            ends.append(
                f"At {self.tune.beats_per_minute:.0f} there is hardly time for the shift in "
                f"{bar_words(seen.rushed_bars)}: begin slower."
            )
        steps = retuning_steps(setup.strings_midi, parse_tuning(self.player.present_tuning)[1])
        if steps:
            ends.append(f"From {parse_tuning(self.player.present_tuning)[0]}: {', '.join(steps)}.")
        return (self.keys(setup), *told, *ends)

    def _nearest(self, setup: Setup) -> str | None:
        """For a tuning without a name: how far it is from one the player may know."""
        if any(tuning.strings_midi == setup.strings_midi for tuning in catalogue()):
            return None
        known = [tuning_of(name) for name in self.player.tunings_used]
        known += [tuning for tuning in catalogue() if tuning.common >= FAMILIAR]
        away = {tuning.name: changes(setup.strings_midi, tuning.strings_midi) for tuning in known}
        name = min(away, key=lambda n: (len(away[n]), sum(abs(step) for _, step in away[n])))
        moved = " and ".join(
            f"the {WORDS[string]} {number(abs(step))} {'up' if step > 0 else 'down'}"
            for string, step in away[name]
        )
        count = len(away[name])
        return (
            f"{number(count).capitalize()} string{'s differ' if count > 1 else ' differs'} "
            f"from {name}: {moved}."
        )

    def seen(self, setup: Setup) -> PathFacts:
        """Facts of a setup's optimal path, with its hardest bars."""
        paths = self.search.paths([problem_of(setup, self.player)])
        stops = [paths.table.stop(int(index)) for index in paths.index[0]]
        return path_facts(self.facts.line, stops, self.search.ticks_along(paths.index[0]))

    def keys(self, setup: Setup) -> str:
        """Where the tune sounds and in which shapes it is played."""
        sounds = f"Sounds in {key_words(setup.sounds_in.tonic, setup.sounds_in.mode)}"
        if setup.capo:
            return f"{sounds}, played in {setup.shapes_in.tonic} shapes, capo {setup.capo}."
        return f"{sounds}, no capo."

    def _good(
        self, part: str, setup: Setup, seen: PathFacts, promised: Promised | None
    ) -> str | None:
        """What speaks for the setup in one part; None when that is not worth a sentence."""
        if part == "flow":
            return self._neck(setup, seen)
        if part == "bass":
            return self._free_bass(seen)
        if part in ("drones", "open"):
            return self._open_strings(setup, seen, promised)
        if part == "root":
            return self._root(setup, promised)
        if part == "clash":
            return self._clash(setup)
        if part == "ring" and seen.ring_share >= 0.5:
            return f"{seen.ring_share:.0%} of the notes change string and ring on, harp-like."
        if part == "room":
            frets = self.player.body_fret - setup.capo - seen.top_fret
            left = "fret is" if frets == 1 else "frets are"
            return f"{number(frets).capitalize()} {left} left up to the body."
        if part == "retuning":
            return self._retuning(setup)
        if part == "preference" and setup.tuning in self.used:
            return f"You use {setup.tuning}."
        return None

    def _free_bass(self, seen: PathFacts) -> str | None:
        if seen.free_share > 0.995:
            return "Every note on the beat leaves the bass strings free."
        if seen.free_share >= 0.5:
            return f"{seen.free_share:.0%} of the notes on the beat leave the bass strings free."
        return None

    def _clash(self, setup: Setup) -> str | None:
        up = setup.capo - setup.transpose
        inside = [(midi + up) % 12 in self.facts.classes for midi in setup.strings_midi]
        return "No open string lies outside the key." if all(inside) else None

    def _neck(self, setup: Setup, seen: PathFacts) -> str:
        start = "capo" if setup.capo else "nut"
        if seen.top_fret == 0:
            return "The whole tune lies on open strings."
        text = f"The whole tune lies within {_frets(seen.top_fret)} of the {start}"
        if not seen.shift_bars:
            return f"{text}, and no shift has to be made without an open string to free it."
        if seen.open_share >= 0.25:
            return f"{text}; {seen.open_share:.0%} of its notes are open strings."
        return f"{text}."

    def _open_strings(self, setup: Setup, seen: PathFacts, promised: Promised | None) -> str | None:
        """The open strings of tonic and fifth: those that are heard, else those for the thumb and
        the melody's own.
        """
        thumbs = frozenset(range(THUMB_FROM, 7)) | seen.open_strings
        strings, verb = (thumbs, "lies") if promised is None else (promised.rings, "rings")
        tonic = pitch_class(setup.sounds_in.tonic)
        fifth = transpose_key(setup.sounds_in, 7).tonic
        by_class = {0: [], 7: []}  # type: dict[int, list[int]]
        for string in range(6, 0, -1):
            degree = (setup.strings_midi[6 - string] + setup.capo - tonic) % 12
            if degree in by_class and string in strings:
                by_class[degree].append(string)
        said = []
        if by_class[0]:
            said.append(
                f"the tonic {setup.sounds_in.tonic} {verb} on the open {string_words(by_class[0])}"
            )
        if by_class[7]:
            word = "" if said else f"{verb} "
            said.append(f"the fifth {fifth} {word}on the open {string_words(by_class[7])}")
        if not said:
            return None
        text = ", ".join(said)
        return f"{text[0].upper()}{text[1:]}."

    def _both_homes(self, setup: Setup) -> str | None:
        """Of a tune heard in two homes: that the thumb has both tonics on open strings."""
        if self.facts.second is None:
            return None
        first = pitch_class(setup.sounds_in.tonic)
        second = (first + self.facts.second[0] - self.facts.tonic) % 12
        low = {(midi + setup.capo) % 12 for midi in setup.strings_midi[:3]}
        if not {first, second} <= low:
            return None
        other = transpose_key(setup.sounds_in, (second - first) % 12).tonic
        return f"Both homes, {setup.sounds_in.tonic} and {other}, are open bass strings."

    def _root(self, setup: Setup, promised: Promised | None) -> str | None:
        degree = (setup.strings_midi[0] + setup.capo - pitch_class(setup.sounds_in.tonic)) % 12
        if degree != 0 or (promised is not None and not promised.under):
            return None
        text = f"The root {setup.sounds_in.tonic} is the open sixth string"
        return f"{text}." if promised is None else f"{text}, under everything."

    def _retuning(self, setup: Setup) -> str | None:
        present = parse_tuning(self.player.present_tuning)[1]
        changed = changes(setup.strings_midi, present)
        if not changed:
            return "Nothing has to be retuned."
        if len(changed) > 3:
            return None
        return f"Only the {string_words([string for string, _ in changed])} to retune."

    def why_lower(
        self,
        best: tuple[RankedSetup, ...],
        names: Sequence[str],
        order: np.ndarray,
        asked: int = 0,
    ) -> tuple[str, ...]:
        """One sentence for each usual suspect that is not among the first three.

        The setup at the place `asked`, which the user named, is told before them.
        """
        wanted = [*SUSPECTS, (self.player.present_tuning, 0), (best[0].tuning, 0)]
        wanted += [(name, 0) for name in self.player.tunings_used]
        top = {(setup.tuning, setup.capo) for setup in best[:3]}
        said = []
        if asked > 1:
            row = int(order[asked - 1])
            capo = int(self.field.capo[row])
            said.append(self._compared(names[row], capo, asked, row, int(order[0])))
            top.add((names[row], capo))
        for name, capo in dict.fromkeys((parse_tuning(n)[0], c) for n, c in wanted):
            if (name, capo) in top:
                continue
            sentence = self._lower(name, capo, names, order)
            if sentence:
                said.append(sentence)
        return tuple(said)

    def _lower(self, name: str, capo: int, names: Sequence[str], order: np.ndarray) -> str | None:
        for rank, row in enumerate(order, start=1):
            if names[row] == name and self.field.capo[row] == capo:
                return self._compared(name, capo, rank, int(row), int(order[0]))
        strings = parse_tuning(name)[1]
        fault = what_does_not_fit(self.tune, strings, capo, -12, self.player)
        return f"{name}, {capo_words(capo)}: {fault}" if fault else None

    def _compared(self, name: str, capo: int, rank: int, row: int, best: int) -> str:
        strings, transpose = self.field.strings_midi[row].tolist(), int(self.field.transpose[row])
        setup = setup_of(self.tune, name, strings, capo, transpose)
        seen = self.seen(setup)
        loss = self.weight * (self.parts[best] - self.parts[row])
        told: dict[str, str] = {}
        for column in np.argsort(-loss, kind="stable"):
            part = part_names()[column]
            topic = TOPICS.get(part, part)
            if loss[column] > 0.004 and len(told) < 2 and topic not in told:
                sentence = self._bad(part, setup, seen, row)
                if sentence:
                    told[topic] = sentence
        why = ", and ".join(told.values()) if told else "a little less of everything"
        return f"{name}, {capo_words(capo)} (place {rank}): {why}."

    def _bad(self, part: str, setup: Setup, seen: PathFacts, row: int) -> str | None:
        """What speaks against the setup in one part."""
        tonic = setup.sounds_in.tonic
        share = self.parts[row][part_names().index(part)]
        said = {
            "bass": f"{1 - seen.free_share:.0%} of the notes on the beat need a string that the "
            "thumb wants",
            "drones": f"an open {tonic} or {transpose_key(setup.sounds_in, 7).tonic} below the "
            f"melody is there for only {share:.0%} of the beats"
            if share >= 0.005
            else f"no open bass string gives {tonic} or {transpose_key(setup.sounds_in, 7).tonic}",
            "root": f"{tonic} is not an open bass string",
            "open": "few open strings belong to the key",
            "clash": "open strings clash with the key",
            "ring": f"only {seen.ring_share:.0%} of the notes change string and ring on",
            "room": f"it goes up to fret {setup.capo + seen.top_fret} of the neck",
            "retuning": "there is more to retune",
            "register": "the melody sounds low among the bass notes",
            "tension": "strings would go above their usual pitch",
        }
        return self._hard(seen) if part == "flow" else said.get(part)

    def _hard(self, seen: PathFacts) -> str:
        bars = len({n for n in self.facts.line.bar_number if n}) or 1
        if len(seen.shift_bars) * 2 > bars:
            need = "bars need" if bars > 1 else "bar needs"
            return f"{len(seen.shift_bars)} of {bars} {need} a shift inside a run"
        if seen.shift_bars:
            return f"{bar_words(seen.shift_bars)} need{'s' * (len(seen.shift_bars) == 1)} a shift"
        return (
            f"the melody reaches up to fret {seen.top_fret} with {seen.open_share:.0%} of its "
            "notes on open strings"
        )


def _frets(frets: int) -> str:
    return f"{number(frets)} fret{'' if frets == 1 else 's'}"
