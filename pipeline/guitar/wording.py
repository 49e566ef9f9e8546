"""Numbers, strings, bars and keys as a guitarist would say them."""

from __future__ import annotations

from collections.abc import Sequence

from liltwright.guitar.tension import WORDS

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
           "eleven", "twelve")  # fmt: skip


def number(count: int) -> str:
    """A count in words up to twelve."""
    return NUMBERS[count] if count < len(NUMBERS) else str(count)


def string_words(numbers: Sequence[int]) -> str:
    """ "sixth and first strings", in the order given."""
    words = [WORDS[number] for number in numbers]
    joined = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
    return f"{joined} string{'' if len(words) == 1 else 's'}"


def bar_words(numbers: Sequence[int]) -> str:
    """ "bars 3, 7 and 12"; at most six by number."""
    texts = [str(number) for number in numbers]
    if len(texts) == 1:
        return f"bar {texts[0]}"
    if len(texts) > 6:
        texts = [*texts[:6], "others"]
    return f"bars {', '.join(texts[:-1])} and {texts[-1]}"


def key_words(tonic: str, mode: str) -> str:
    """ "G" for a major key, else tonic and mode."""
    return tonic if mode == "major" else f"{tonic} {mode}"
