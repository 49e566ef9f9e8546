"""What to type: the options of the command line in sentences that the program itself says without.

Task     the one place, beside cli_words.py, that knows how an option is written
In       an error, or a remark of a tune
Out      the sentence for the screen
"""

from __future__ import annotations

import re

from liltwright.errors import PipelineError, with_typed

TYPED = {
    "out": " with --out",
    "or replace": ", or say --replace; yours are then kept beside",
    "or replace strangers": ", or say --replace to write into it all the same",
    "tuning": "--tuning",
    "capo": "--capo",
    "tuning and capo": " with --tuning and --capo",
    "take": "--take",
    "plan": "--take",
    "ear": "--ear",
    "its own ear": "leave --ear out",
    "band": "say --band",
    "band or solo": "--band or --solo",
    "band chords": "--band-chords",
    "from": "--from",
    "to": "--to",
    "from and to": "--from and --to",
    "first bar": "--first-bar",
    "tempo": "--tempo",
    "concert": "--concert",
    "octave": "--octave",
    "effort": "--effort",
    "layer": "--layer",
    "paper": "--paper",
    "port": "--port",
}
"""What stands at the places that errors.to_type marks, by their names."""

REMARKS = (
    (r"^You asked for (tempo|octave|type) (.+?), which ", r"--\1 \2 "),
    (r"the key (\S+) writes it so\.$", r"--key \1 writes it so."),
    (r"the concert pitch (-?\d+) writes that\.$", r"--concert \1 writes that."),
    (r"written down; choose another by its number\.$", "written down; choose another with --take."),
)
"""Ends and beginnings of remarks, as patterns, and how they are typed."""


def typed(fault: PipelineError) -> str:
    """An error's sentence as the command line says it."""
    return with_typed(fault, TYPED)


def typed_remark(remark: str) -> str:
    """A remark or warning of a tune as the command line says it."""
    for pattern, words in REMARKS:
        remark = re.sub(pattern, words, remark)
    return remark
