"""Task: be the first thing that runs, so that Ctrl-C while the program loads is one sentence too.

In: the words of the command line. Out: the exit code.
Method: nothing is imported before the handler stands.
"""

import os
import sys


def main() -> None:
    """Load the command line and run it."""
    try:
        from liltwright.cli import main as run

        run()
    except KeyboardInterrupt:
        known = sys.modules.get("liltwright.stopping")  # not loaded yet: no writer was either
        words = known.stopped_words() if known else "liltwright: stopped; nothing was written."
        sys.stderr.write(f"{words}\n")
        sys.stderr.flush()
        os._exit(130)


if __name__ == "__main__":
    main()
