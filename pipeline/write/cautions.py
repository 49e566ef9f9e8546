"""The cautions that stand in small print on sheets and on the report.

References: Zaza 1998 and Cruder et al. 2023 (Sci. Rep. 13) on playing-related disorders; tension
    goes as the square of the frequency (Mersenne's law). The advice itself is common practice.
"""

from __future__ import annotations

from collections.abc import Sequence

from liltwright.tab import Setup

STANDARD = (40, 45, 50, 55, 59, 64)  # MIDI of the open strings, low to high

HAND = (
    "Hands: warm up, rest a few minutes in every half hour, and raise tempo and playing time in "
    "small steps. Stop when a hand, wrist or arm hurts, tingles or goes numb; a pain that lasts "
    "is for a doctor or a performing-arts clinic."
)
RIGHTS = (
    "Rights: most traditional tunes are free to use, but a recording, a recent tune or somebody's "
    "arrangement may not be. You must have the right to use what you load and hand out."
)
STRINGS_UP = (
    "Strings: this tuning takes {count} above usual pitch. Tension grows with the square of the "
    "frequency: two semitones up are a quarter more. A string can snap; keep your face away, "
    "spare an old guitar, or use strings made for the tuning, or a capo."
)
RETUNE = (
    "Retuning: begin with the strings that move least, come up to pitch from below, put the capo "
    "close behind the fret and fine-tune after it is on."
)


def printed_cautions(setup: Setup, said: Sequence[str] = ()) -> tuple[str, ...]:
    """All that belongs under an arrangement: strings, retuning, hands, rights.

    said : the stages' own cautions; what they say of the hand is said in full here.
    """
    raised = sum(midi > usual for midi, usual in zip(setup.strings_midi, STANDARD, strict=True))
    cautions = [text for text in said if "wrist" not in text]
    if raised and not any("string" in text.lower() for text in cautions):
        count = "one string" if raised == 1 else f"{raised} strings"
        cautions.append(STRINGS_UP.format(count=count))
    if setup.strings_midi != STANDARD or setup.capo:
        cautions.append(RETUNE)
    return (*cautions, HAND, RIGHTS)
