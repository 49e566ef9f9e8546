"""Whether a change of the code changed what the program writes.

    python -m tests.benchmark.same_bytes --write before.json      # on the commit before
    python -m tests.benchmark.same_bytes --against before.json    # on the commit after

Task: proof that moving or merging code moved no byte of any file.
In:   the demo recording, and tunes of the public-domain collections spread over the dev split; with
      --performed also performances of such tunes, as they are and spoilt, to be written down.
Out:  the SHA-256 of every file of every run, with sheets, report, sound and practice tracks; with
      --against the names of files that differ, and exit code 1 when there is one.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from pathlib import Path

from liltwright import run
from liltwright.guitar.player import Player
from liltwright.notate.notate import notate
from liltwright.options import GuitarOptions, LayerOptions, OutputOptions, TuneOptions
from liltwright.records import to_json
from liltwright.write.formats.abc import tune_to_abc
from tests.benchmark.collections import tunes
from tests.benchmark.degrade import degrade
from tests.benchmark.performer import perform
from tests.benchmark.plan import plan
from tests.benchmark.playing import truth_heard

DEMO = Path(__file__).parents[2] / "fixtures" / "demo" / "hum.ogg"
LISTED = 20
"""More files than this that differ are counted, not named."""


def checksums(source: Path, name: str) -> dict[str, str]:
    """SHA-256 of every file that a run writes, under name/FILE."""
    done = run.arrange(
        source,
        player=Player(),
        tune_options=TuneOptions(),
        guitar_options=GuitarOptions(),
        layer_options=LayerOptions(),
        output_options=OutputOptions(practice=True),
    )
    return {f"{name}/{file}": hashlib.sha256(data).hexdigest() for file, data in done.files.items()}


def performed(count: int) -> dict[str, str]:
    """SHA-256 of the record of each of `count` performances and of the same with faults."""
    found = {}
    for job in plan("dev", count):
        played = perform(job.tune, job.sound.family, seed=job.number, late_start=job.late_start,
                         longest_s=60.0)  # fmt: skip
        heard = truth_heard(played)
        spoilt = degrade(heard, drop=0.03, insert=0.03, shift=0.03, seed=2)
        for name, one in (("performed", heard), ("spoilt", spoilt)):
            data = to_json(notate(one)).encode()
            found[f"{name}-{job.number}/tune.json"] = hashlib.sha256(data).hexdigest()
    return found


def collect(count: int, folder: Path) -> dict[str, str]:
    """The checksums of the demo and of `count` tunes, which are put into `folder` as ABC."""
    found = checksums(DEMO, "demo")
    every = tunes("dev")
    for number in range(count):
        source = folder / f"tune-{number + 1}.abc"
        source.write_text(tune_to_abc(every[number * len(every) // count].tune))
        found |= checksums(source, source.stem)
        print(f"{number + 1} of {count}, {len(found)} files", file=sys.stderr)
    return found


def main() -> int:
    """Write the checksums or compare with them; 0 when nothing differs."""
    import tempfile

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=50, help="tunes beside the demo")
    parser.add_argument("--performed", type=int, default=0, help="performances to be written down")
    way = parser.add_mutually_exclusive_group(required=True)
    way.add_argument("--write", type=Path, help="JSON file to write the checksums to")
    way.add_argument("--against", type=Path, help="JSON file of an earlier run")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        found = collect(args.count, Path(folder)) | performed(args.performed)
    if args.write:
        args.write.write_text(json.dumps(found, indent=0, sort_keys=True) + "\n")
        print(f"{len(found)} files")
        return 0
    before = json.loads(args.against.read_text())
    differ = sorted(name for name in before.keys() | found if before.get(name) != found.get(name))
    for name in differ[:LISTED]:
        print(f"differs: {name}")
    print(f"{len(found)} files, {len(differ)} differ")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
