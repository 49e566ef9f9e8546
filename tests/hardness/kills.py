"""Runs killed at any moment, over folders that a user edited: what is lost, what is left behind.

    python -m tests.hardness.kills --count 200

Task: find a moment at which `kill -9` loses a file of the user's, tears a file of ours, leaves
      something behind, or keeps the next run from its end.
In:   folders with up to two earlier runs, half of them edited, with files of the user's under our
      names, links that lead outside and deleted files; every tenth run is the whole program.
Out:  a line for every fault, and the counts; exit code 1 when there is a fault.
Method: a real process is killed (SIGKILL) by itself just before its n-th change of the folder, seen
      by an audit hook, or from outside after a random time; up to three kills follow each other,
      the user edits in between, then a run goes to its end. The user's files are told apart by what
      this script wrote, not by the program's own list.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from liltwright.write.folder.ledger import EARLIER, LIST_NAME
from liltwright.write.folder.save import check_folder, restore, save

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "fixtures" / "demo" / "tune.abc"
WATCHED = ("open", "os.rename", "os.link", "os.remove", "os.mkdir", "os.rmdir")
NAMES = [
    "tune.abc", "tune.json", "tune.mid", "tune.pdf", "report.html", "arrangement-1.json",
    "arrangement-1-melody.abc", "arrangement-1-melody.ogg", "arrangement-2.json",
]  # fmt: skip
QUICK = ("--no-sound", "--no-sheets", "--no-report")


@dataclass
class Trial:
    """One folder, what the user has in it, and what went wrong."""

    folder: Path
    rng: random.Random
    mine: dict[str, bytes] = field(default_factory=dict)
    whole: set[bytes] = field(default_factory=set)
    kills: int = 0
    faults: list[str] = field(default_factory=list)

    def run_of(self, version: int) -> dict[str, bytes]:
        """The files of a run: some change with the version, some do not, some are not made."""
        made = {}
        for place, name in enumerate(NAMES):
            if (version + place) % 5:
                shade = version if place % 3 else 0
                size = 300_000 if name.endswith(("ogg", "html")) else 60
                made[name] = (f"{name} of {shade}\n" * size)[:size].encode()
        self.whole |= set(made.values())
        return made

    def edit(self) -> None:
        """What a user may do between two runs."""
        for name in self.rng.sample(NAMES, 3):
            path = self.folder / self.rng.choice([name, name, name.replace(".", ".new.", 1)])
            if path.is_symlink():
                continue
            what = self.rng.random()
            if what < 0.15 and path.name not in self.mine:
                path.unlink(missing_ok=True)
                path.symlink_to(self.folder.parent / "outside.txt")
            elif what < 0.25:
                path.unlink(missing_ok=True)
                self.mine.pop(path.name, None)
            else:
                data = f"my own {path.name} {self.rng.random()}".encode()
                path.unlink(missing_ok=True)  # as an editor does that saves by renaming
                path.write_bytes(data)
                self.mine[path.name] = data

    def look(self, when: str) -> None:
        """The user's files hold their bytes; every other visible file is whole."""
        for name, data in self.mine.items():
            path = self.folder / name
            if not path.is_file() or path.read_bytes() != data:
                self.faults.append(f"{when}: {name} of the user's is lost")
        if (self.folder.parent / "outside.txt").read_bytes() != b"outside":
            self.faults.append(f"{when}: a file outside the folder was written")
        for path in self.folder.iterdir():
            visible = not path.name.startswith(".") and path.name not in self.mine
            if visible and not path.is_symlink() and path.read_bytes() not in self.whole:
                self.faults.append(f"{when}: {path.name} is torn")

    def look_at_the_end(self, files: dict[str, bytes]) -> None:
        """Nothing hidden is left, and each file of the run is there."""
        self.look("at the end")
        hidden = {path.name for path in self.folder.iterdir() if path.name.startswith(".")}
        for name in sorted(hidden - {LIST_NAME, EARLIER}):
            self.faults.append(f"leftover: {name}")
        there = {p.read_bytes() for p in self.folder.iterdir() if p.is_file()}
        for name in sorted(name for name, data in files.items() if data not in there):
            self.faults.append(f"the last run did not write {name}")


def killed(act: Callable[[], object], step: int, after_s: float | None, folder: Path) -> int:
    """Do something in a process of its own that is killed; its wait status."""
    child = os.fork()
    if child == 0:
        try:
            if after_s is None:
                kill_at(step, folder)
            act()
            os._exit(0)
        except BaseException as fault:
            print(f"{type(fault).__name__}: {fault}", file=sys.stderr)
            os._exit(1)
    if after_s is not None:
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
    return os.waitpid(child, 0)[1]


def kill_at(step: int, folder: Path) -> None:
    """Kill this process just before its step-th change within a folder."""
    left = step
    place = str(folder)

    def hook(event: str, args: tuple[object, ...]) -> None:
        nonlocal left
        # rmtree names its files relative to an open folder
        removes = event in ("os.remove", "os.rmdir")
        if not removes and (event not in WATCHED or not str(args[0]).startswith(place)):
            return
        if event == "open" and not any(c in str(args[1]) for c in "wxa"):
            return
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(hook)


def one_trial(number: int, room: Path) -> Trial:
    """Earlier runs, edits, kills with edits in between, and a run to the end."""
    folder = room / "out"
    trial = Trial(folder, random.Random(number))
    rng = trial.rng
    (room / "outside.txt").write_bytes(b"outside")
    earlier = rng.randrange(3)
    for version in range(earlier):
        check_folder(folder)
        save(trial.run_of(version), folder)
    edited = bool(earlier) and number % 2 == 1
    if edited:
        trial.edit()
    for again in range(rng.randint(1, 3)):
        files = trial.run_of(5 + again)
        back = rng.random() < 0.2 and (folder / EARLIER).exists()

        def act(files: dict[str, bytes] = files, back: bool = back) -> None:
            check_folder(folder)
            if back:
                restore(folder)
            else:
                save(files, folder)

        after_s = rng.random() * 0.04 if rng.random() < 0.3 else None
        status = killed(act, rng.randint(1, 90), after_s, folder)
        trial.kills += os.WIFSIGNALED(status)
        if os.WIFEXITED(status) and os.WEXITSTATUS(status):
            trial.faults.append("a run after a kill could not be made")
        if folder.exists():
            trial.look("after a kill")
            if edited:
                trial.edit()
    finish_trial(trial, trial.run_of(9))
    return trial


def finish_trial(trial: Trial, files: dict[str, bytes]) -> None:
    """A run to its end, then the earlier state and back again."""
    check_folder(trial.folder)
    save(files, trial.folder)
    trial.look_at_the_end(files)
    if (trial.folder / EARLIER).exists():
        restore(trial.folder)
        trial.look("after bringing back")
        restore(trial.folder)
        trial.look_at_the_end(files)


def program_trial(number: int, room: Path) -> Trial:
    """The same with the whole program: killed, edited, killed, run to its end."""
    folder = room / "out"
    trial = Trial(folder, random.Random(number))
    (room / "outside.txt").write_bytes(b"outside")
    for _ in range(2):
        step = trial.rng.randint(1, 130)
        done = run_program(folder, step)
        trial.kills += done.returncode == -signal.SIGKILL
        if done.returncode not in (0, -signal.SIGKILL):
            trial.faults.append(f"a run ended with {done.returncode}: {done.stderr[-300:]}")
        if (folder / "tune.abc").exists():
            data = f"{DEMO.read_text()}% mine {number} {step}\n".encode()
            (folder / "tune.abc").write_bytes(data)
            trial.mine["tune.abc"] = data
    done = run_program(folder, 0)
    if done.returncode:
        trial.faults.append(f"the last run ended with {done.returncode}: {done.stderr[-300:]}")
    trial.whole |= {p.read_bytes() for p in folder.iterdir() if p.is_file()}
    trial.look_at_the_end({})
    return trial


def run_program(folder: Path, step: int) -> subprocess.CompletedProcess[str]:
    """`arrange` in a process of its own that is killed before a change of the folder; 0: never."""
    code = (
        "import sys, pathlib\n"
        "from tests.hardness.kills import kill_at; from liltwright import cli\n"
        "folder, step = sys.argv.pop(1), int(sys.argv.pop(1))\n"
        "kill_at(step, pathlib.Path(folder)); cli.main()\n"
    )
    command = [sys.executable, "-c", code, str(folder), str(step), "arrange", str(DEMO)]
    return subprocess.run(
        [*command, "--out", str(folder), *QUICK],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip


def main() -> int:
    """Many trials; a line for every fault and the counts."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=200, help="how many kills")
    parser.add_argument("--first", type=int, default=0, help="the first folder")
    wanted = parser.parse_args()
    kills = losses = leftovers = 0
    number = wanted.first - 1
    while kills < wanted.count:
        number += 1
        with tempfile.TemporaryDirectory() as name:
            make = program_trial if number % 10 == 9 else one_trial
            trial = make(number, Path(name))
        kills += trial.kills
        leftovers += sum(fault.startswith("leftover") for fault in trial.faults)
        losses += sum(not fault.startswith("leftover") for fault in trial.faults)
        for fault in trial.faults:
            print(f"trial {number}: {fault}")
    folders = number + 1 - wanted.first
    print(f"{folders} folders, {kills} kills: {losses} losses, {leftovers} leftovers")
    return 1 if losses or leftovers else 0


if __name__ == "__main__":
    sys.exit(main())
