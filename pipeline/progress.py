"""Progress reporting: one callback, handed down to every stage that can take long."""

from collections.abc import Callable

Progress = Callable[[str, float], None]
"""Called as progress(what, fraction): a few words for the user, and 0.0 to 1.0 of the stage."""


def silent(what: str, fraction: float) -> None:
    """Show nothing. The default wherever a stage takes a progress callback."""
