"""What follows from a tune, made when it is asked for and kept while it is true.

Task: ranking, arrangement, music and sound of one tune, each computed once a state.
In: the Journal of a tune, the player's profile. Out: records and plain data.
Method: results are kept under the very records that they were made from (the same object, not an
equal one), a few of each kind; so an undo that leads back finds them again. The files of the
contract are written after a change by a thread that waits for a pause, under the same ledger as
every run.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from liltwright import run
from liltwright.doubts import doubtful_indices
from liltwright.errors import PipelineError, UsageError
from liltwright.guitar.player import Player
from liltwright.options import GuitarOptions, LayerOptions
from liltwright.page.changes import Journal
from liltwright.page.desk import Wishes, parse_setup
from liltwright.tab import Arrangement, Ranking, Setup
from liltwright.tune import Tune
from liltwright.write.folder.ledger import is_plain_file

if TYPE_CHECKING:
    from liltwright.page.stages import Stages

Value = TypeVar("Value")
KEPT = 8  # results of each kind kept in memory
PAUSE_S = 0.7
"""So long after the last change the files are written."""
AHEAD_S = 2.5
"""And so long after it the layer that was looked at last is made again."""
UNNAMED = "Untitled tune"


class Bench:
    """One open tune. Not frozen: it keeps results. Safe for several threads."""

    def __init__(self, folder: Path, player: Callable[[], Player]) -> None:
        """Open the tune of a folder."""
        self.journal = Journal(folder)
        self.folder = folder
        self._player = player
        self._kept: OrderedDict[tuple[Any, ...], tuple[tuple[Any, ...], Any]] = OrderedDict()
        self._locks: dict[str, threading.Lock] = {}
        self._guard = threading.Lock()
        self._timers: tuple[threading.Timer, ...] = ()
        self._recording: tuple[str, Path | None] | None = None
        self._best: tuple[Any, Setup] | None = None
        self._arranged: tuple[str, bool, str] | None = None

    @property
    def tune(self) -> Tune:
        """The tune as it is now."""
        return self.journal.state.tune

    @property
    def wishes(self) -> Wishes:
        """How it shall be arranged."""
        return self.journal.state.wishes

    def _once(
        self, kind: str, of: tuple[Any, ...], plain: tuple[Any, ...], make: Callable[[], Value]
    ) -> Value:
        """Make a value once for these records (compared by identity) and plain values."""
        key = (kind, *(id(one) for one in of), *plain)
        with self._guard:
            lock = self._locks.setdefault(kind, threading.Lock())
        with lock:
            with self._guard:
                if key in self._kept:
                    self._kept.move_to_end(key)
                    return self._kept[key][1]  # type: ignore[no-any-return]
            value = make()
            with self._guard:
                self._kept[key] = (of, value)
                mine = [one for one in self._kept if one[0] == kind]
                for stale in mine[:-KEPT]:
                    del self._kept[stale]
        return value

    # ------------------------------------------------------------ what follows

    def music(self, *, narrow: bool) -> str:
        """The tune engraved."""
        from liltwright.page.drawing import tune_music

        tune = self.tune
        return self._once("music", (tune,), (narrow,), lambda: tune_music(
            tune, narrow=narrow, doubts=doubtful_indices(tune)
        ))  # fmt: skip

    def ranking(self, matters: tuple[tuple[str, float], ...] | None = None) -> Ranking:
        """Every tuning and capo, by what matters to the player."""
        tune, player = self.tune, self._player()
        wanted = self.wishes.matters if matters is None else matters
        return self._once("ranking", (tune,), (player, wanted), lambda: run.rank(
            tune, player, GuitarOptions(weights=wanted)
        ))  # fmt: skip

    def setup(self) -> Setup:
        """The setup that was chosen, else the best; the best of before while the tune fits it.

        A mended note seldom changes what is best, and the layers shall follow at once.
        """
        tune, wishes = self.tune, self.wishes
        if wishes.setup:
            return self.named(wishes.setup)
        base = (tune.tonic, tune.mode, tune.octave_shift, wishes.matters, self._player())
        if self._best is None or self._best[0] != base or not self._fits(self._best[1]):
            setups = self.ranking().setups
            if not setups:
                raise PipelineError("No tuning holds this tune: move it by an octave.")
            self._best = (base, setups[0].setup)
        return self._best[1]

    def named(self, name: str) -> Setup:
        """A setup by its name. Raises UsageError when the tune does not fit it."""
        from liltwright.guitar.setups import setup_of
        from liltwright.guitar.tunings import name_of

        strings, capo, shift = parse_setup(name)
        setup = setup_of(self.tune, name_of(strings), strings, capo, shift)
        if not self._fits(setup):
            raise UsageError(
                "The tune does not fit the tuning and capo that were chosen any more: "
                "choose another."
            )
        return setup

    def _fits(self, setup: Setup) -> bool:
        from liltwright.guitar.setups import what_does_not_fit

        strings, player = setup.strings_midi, self._player()
        return what_does_not_fit(self.tune, strings, setup.capo, setup.transpose, player) is None

    def arrangement(self, name: str | None = None) -> Arrangement:
        """The layers on the chosen setup, or on a named one."""
        tune, wishes, player = self.tune, self.wishes, self._player()
        setup = self.setup() if name is None else self.named(name)
        if name is not None:
            wishes = replace(wishes, pins=(), lines="")
        options = LayerOptions(
            wishes.effort, wishes.ornaments, wishes.rounds or None, pins=wishes.pins,
            lines=wishes.lines,
        )  # fmt: skip
        plain = (player, setup, options)
        return self._once("arrangement", (tune,), plain, lambda: run.arrange_on(
            tune, setup, player, options
        ))  # fmt: skip

    def stages(self) -> Stages:
        """The stages of the finished page that the tune was taken from.

        Raises PipelineError when there is no such page, or it cannot be taken apart any more.
        """
        from liltwright.page.stages import stages_of

        path = self.finished_page()
        if path is None:
            raise PipelineError("This tune was not taken from a finished tab: it has no stages.")
        player = self._player()
        return self._once("stages", (), (player, str(path), path.stat().st_mtime_ns), lambda: (
            stages_of(path, player)
        ))  # fmt: skip

    def finished_page(self) -> Path | None:
        """The finished page that the tune was taken from; None when there was none."""
        from liltwright.page.stages import page_in

        return page_in(self.folder)

    def _laid(self, name: str | None, of: str) -> tuple[Tune, Arrangement]:
        """What is shown: the stages of the page, or the layers on a setup."""
        if of == "stages":
            stages = self.stages()
            return stages.tune, stages.arrangement
        return self.tune, self.arrangement(name)

    def layer_music(
        self, layer: str, *, narrow: bool, setup: str | None = None, under: str = "", of: str = ""
    ) -> str:
        """A layer engraved with its tablature, or two of them bar under bar.

        under : the layer that stands below; of : "stages" for those of the finished page
        """
        from liltwright.page.drawing import layer_music, pair_music

        tune, made = self._laid(setup, of)
        if setup is None and not of:
            self._arranged = (layer, narrow, under)

        def draw() -> str:
            if under:
                return pair_music(tune, made, layer, under, narrow=narrow)
            return layer_music(tune, made, layer, narrow=narrow)

        return self._once("layer", (tune, made), (layer, narrow, under), draw)

    def layers_sound(self, of: str = "") -> dict[str, Any]:
        """What plays the layers."""
        from liltwright.page.sounding import layers_sound

        tune, made = self._laid(None, of)
        return self._once("sound", (tune, made), (), lambda: layers_sound(tune, made))

    def picture(self) -> list[dict[str, Any]]:
        """The recording's picture, row by row, with the notes and bars that were heard."""
        from liltwright.write.report.page import heard_numbers
        from liltwright.write.report.picture import heard_picture

        tune, path = self.tune, self.recording()

        def draw() -> list[dict[str, Any]]:
            audio = self.audio()
            rows = heard_picture(
                tune, audio.samples if audio else None, audio.sample_rate if audio else 1,
                heard_numbers(tune),
            )  # fmt: skip
            return [{"svg": row.svg, "bars": list(row.bars)} for row in rows]

        key = (str(path), tune.doubts, len(tune.bars_heard))
        return self._once("picture", (tune.heard,), key, draw)

    def recording(self) -> Path | None:
        """The recording that the tune was heard in, when it is there, unchanged."""
        from liltwright.hear.audio.recording import sha256_of

        source = self.tune.source
        if not source.duration_s:
            return None
        name = Path(source.file).name or "recording"
        for place in (self.folder, self.folder.parent):
            path = place / name
            if not is_plain_file(path):
                continue
            stamp = f"{path}:{path.stat().st_mtime_ns}:{path.stat().st_size}:{source.sha256}"
            if self._recording and self._recording[0] == stamp:
                return self._recording[1]
            found = path if sha256_of(path) == source.sha256 else None
            self._recording = (stamp, found)
            if found:
                return found
        return None

    def audio(self) -> Any:
        """The sound of the recording; None when it is not there."""
        from liltwright.hear.audio.recording import load_audio

        path = self.recording()
        return None if path is None else load_audio(path)

    # ------------------------------------------------------------ files

    def changed(self) -> None:
        """After a pause write the tune's files; after a longer one arrange ahead."""
        with self._guard:
            for timer in self._timers:
                timer.cancel()
            self._timers = (
                threading.Timer(PAUSE_S, self._write_quietly),
                threading.Timer(AHEAD_S, self._arrange_ahead),
            )
            for timer in self._timers:
                timer.daemon = True
                timer.start()

    def _write_quietly(self) -> None:
        try:
            self.write()
        except (PipelineError, OSError):
            return  # the journal has it; the next change tries again

    def _arrange_ahead(self) -> None:
        """The layer that was looked at last, so that nobody waits for it."""
        if self._arranged:
            with suppress(PipelineError):
                layer, narrow, under = self._arranged
                self.layer_music(layer, narrow=narrow, under=under)

    def write(self) -> None:
        """Write the tune's files now, as every run does: the user's own stay as they are."""
        import hashlib

        from liltwright.write.files import is_of_tune, tune_files
        from liltwright.write.folder.save import save

        tune = self.tune
        files = tune_files(tune)
        for name in ("tune.json", "tune.abc"):
            self.journal.wrote(hashlib.sha256(files[name]).hexdigest())
        save(files, self.folder, stays=lambda name: not is_of_tune(name))

    def close(self) -> None:
        """Write what a pause was waited for."""
        with self._guard:
            timers, self._timers = self._timers, ()
        waiting = any(timer.is_alive() for timer in timers[:1])
        for timer in timers:
            timer.cancel()
        if waiting:
            self._write_quietly()
