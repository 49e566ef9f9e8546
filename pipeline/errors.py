"""One small family of errors; the command line translates it once, in cli.main.

Anything that is not a PipelineError is a bug and keeps its traceback. A sentence names no option of
the command line, since other programs and the page show it too: `to_type` marks the place where
the command line says what to type, and what stands there for everybody else.
"""

import re

_MARK = "\x1a"
_PLACE = re.compile(f"{_MARK}([a-z ]+)\\|([^{_MARK}|]*){_MARK}")


class PipelineError(Exception):
    """The input cannot be used. The text is one sentence: fault, value, limit, what to do.

    marked : the sentence with the places of `to_type` still in it
    """

    exit_code = 1

    def __init__(self, sentence: str) -> None:
        super().__init__(_PLACE.sub(lambda place: place[2], sentence))
        self.marked = sentence


class UsageError(PipelineError):
    """The command or one of its options is wrong; exit code 2."""

    exit_code = 2


def to_type(name: str, plain: str = "") -> str:
    """A place in the sentence of an error for what is typed on the command line.

    name  : which place, a key of cli_faults.TYPED
    plain : the words there where nothing is typed; may be empty
    """
    return f"{_MARK}{name}|{plain}{_MARK}"


def with_typed(fault: PipelineError, words: dict[str, str]) -> str:
    """The sentence of an error with these words in its places, by their names."""
    return _PLACE.sub(lambda place: words[place[1]], fault.marked)
