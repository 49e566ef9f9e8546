"""One file through what the command line calls, in a process of its own with limits.

Task     say how a file is met: "read", "refused", or a fault of the program
In       a path; seconds and bytes of memory that it may take beyond those of the loaded program;
         whether the stages after reading are run too
Out      Outcome
Method   the program is loaded once; each case runs in a fork with RLIMIT_AS and is killed when its
         time is over. Refused means PipelineError or UsageError with one printable sentence.
"""

from __future__ import annotations

import os
import resource
import select
import signal
import struct
import tempfile
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

SECONDS = 10.0
FURTHER_SECONDS = 60.0
"""With the stages after reading, which take longer with a longer tune; still no hang."""
BYTES = 1_200_000_000
LONGEST_SENTENCE = 700
NEEDED = (
    "av", "lxml.etree", "mido", "soundfile", "soxr", "liltwright.hear.audio.recording",
    "liltwright.notate.notate", "liltwright.read.abc", "liltwright.read.midi",
    "liltwright.read.musicxml", "liltwright.read.tablature", "liltwright.read.typed_tab",
    "liltwright.run", "liltwright.unpicking", "liltwright.write.files",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a case ended: "read", "refused", "traceback", "memory", "hang", "crash" or "words"."""

    kind: str
    said: str
    seconds: float

    @property
    def fine(self) -> bool:
        """Whether the program did what it must."""
        return self.kind in ("read", "refused")


def load() -> None:
    """Import what the cases need, so that a fork has it."""
    for name in NEEDED:
        import_module(name)
    from liltwright.write.formats.midi import tune_to_midi
    from tests.write.hand_made import jig

    with tempfile.TemporaryDirectory() as folder, _one_thread():  # tables, networks: once
        path = Path(folder) / "a.mid"
        path.write_bytes(tune_to_midi(jig()))
        take(path, further=True)
        path.write_bytes(_as_played())
        take(path)


@contextmanager
def _one_thread() -> Iterator[None]:
    """Networks are loaded without helper threads, which a fork would not have."""
    import onnxruntime

    usual = onnxruntime.InferenceSession

    def session(model: object, options: Any, **more: Any) -> object:
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        return usual(model, options, **more)

    onnxruntime.InferenceSession = session
    try:
        yield
    finally:
        onnxruntime.InferenceSession = usual


def _as_played() -> bytes:
    """A MIDI file off the grid, which is read as a performance."""
    notes = b"".join(
        bytes([7 + 3 * (place % 5), 0x90, 62 + place % 12, 80, 61, 0x80, 62 + place % 12, 0])
        for place in range(40)
    )
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, 96)
    return head + b"MTrk" + struct.pack(">I", len(notes) + 4) + notes + b"\x00\xff\x2f\x00"


def take(path: Path, *, further: bool = False) -> None:
    """A tune file becomes a tune and the files that `listen` writes; a recording becomes sound.

    further : the tune is also ranked in one tuning and arranged in one layer, and the file is taken
    apart as a finished page; a recording is heard.

    A typed page becomes a TypedTab, further it is taken apart.
    """
    from liltwright import run
    from liltwright.guitar.player import Player
    from liltwright.hear.audio.recording import load_audio
    from liltwright.limits import limit
    from liltwright.options import GuitarOptions, LayerOptions, TuneOptions
    from liltwright.read.files import content, decoded, kind_of
    from liltwright.read.typed_tab import read_typed_tab
    from liltwright.records import to_json
    from liltwright.write.files import tune_files
    from liltwright.write.formats.tablature import layer_to_text

    if not run.is_written_tune(path):
        if further:
            to_json(run.find_tune(path, TuneOptions()).tune)
        else:
            load_audio(path)
        return
    data = content(path)
    if len(data) < limit("text_tune") and kind_of(data, path.name) == "typed":
        read_typed_tab(decoded(data, path.name), name=path.name)
        if further:
            _take_apart(path)
        return
    tune = run.find_tune(path, TuneOptions()).tune
    to_json(tune).encode()
    tune_files(tune)
    if further:
        player, wanted = Player(), GuitarOptions(tuning="DADGAD", capo=0)
        setup = run.choose_setups(tune, player, wanted, None)[0]
        made = run.arrange_on(tune, setup, player, LayerOptions(rounds="melody"))
        to_json(made).encode()
        layer_to_text(tune, made, "melody").encode()
        if kind_of(data, path.name) != "json":
            _take_apart(path)


def _take_apart(path: Path) -> None:
    from liltwright.guitar.player import Player
    from liltwright.options import TuneOptions
    from liltwright.records import to_json
    from liltwright.unpicking import PageOptions, unpicked_of

    for ignore in (False, True):
        page = PageOptions(ignore_voices=ignore)
        found = unpicked_of(path, player=Player(), known=TuneOptions(), page=page)
        to_json(found.page).encode()
        to_json(found.stages).encode()


def met(
    path: Path, *, seconds: float = SECONDS, memory: int = BYTES, further: bool = False
) -> Outcome:
    """Run one case in a fork."""
    begun = time.monotonic()
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        os.close(reading)
        os.write(
            writing, _inside(path, memory, further).encode("utf-8", "backslashreplace")[:60_000]
        )
        os._exit(0)
    os.close(writing)
    said = b""
    try:
        while True:
            left = begun + seconds - time.monotonic()
            if left <= 0 or not select.select([reading], [], [], left)[0]:
                os.kill(child, signal.SIGKILL)
                return Outcome("hang", f"still running after {seconds:.0f} s", seconds)
            piece = os.read(reading, 65536)
            if not piece:
                break
            said += piece
    finally:
        os.close(reading)
        _, status = os.waitpid(child, 0)
    took = time.monotonic() - begun
    if not said:
        return Outcome("crash", f"ended with status {status}", took)
    kind, _, text = said.decode().partition("\n")
    return Outcome(kind, text, took)


def _inside(path: Path, memory: int, further: bool) -> str:
    from liltwright.errors import PipelineError
    from liltwright.limits import clean

    now = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    resource.setrlimit(resource.RLIMIT_AS, (now + memory, now + memory))
    try:
        take(path, further=further)
    except PipelineError as fault:
        text = str(fault)
        good = clean(text, len(text)) == text and 0 < len(text) <= LONGEST_SENTENCE
        return f"{'refused' if good else 'words'}\n{text}"
    except MemoryError:
        return f"memory\n{traceback.format_exc()}"
    except BaseException:
        return f"traceback\n{traceback.format_exc()}"
    return "read\n"
