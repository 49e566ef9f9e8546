"""Addresses of the shelf: the list, taking things in, tasks, sets, the player's profile."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from liltwright import options
from liltwright.errors import PipelineError, UsageError
from liltwright.page.guard import UPLOAD_BYTES
from liltwright.page.tasks import PageTask


def shelf(context: Any, request: Request, body: Any) -> Any:
    """Every tune, the files that could be taken in, the sets."""
    return {
        "folder": context.shelf.root.name,
        "tunes": [asdict(one) for one in context.shelf.entries()],
        "loose": [asdict(one) for one in context.shelf.loose_entries()],
        "sets": context.shelf.sets(),
    }


async def upload(request: Request) -> Response:
    """A file from the browser: written to disk as it comes, then taken in as a task."""
    from liltwright.page.taking import safe_name

    context = request.app.state.context
    name = safe_name(request.query_params.get("name", "recording"))
    if name.lower().startswith(("tune.", "heard.", "arrangement-")):
        name = f"from-{name}"
    apart = request.query_params.get("as") == "page"
    folder = Path(tempfile.mkdtemp(prefix="liltwright-"))
    try:
        known = _known(dict(request.query_params))
        size = 0
        with open(folder / name, "xb") as file:
            async for piece in request.stream():
                size += len(piece)
                if size > UPLOAD_BYTES:
                    raise UsageError(f"The upload is larger than {UPLOAD_BYTES:,} bytes.")
                await run_in_threadpool(file.write, piece)
        if not size:
            raise UsageError("The file is empty: choose another.")
        task = _start(context, folder / name, name, known, apart=apart, scratch=folder)
    except (PipelineError, OSError) as fault:
        shutil.rmtree(folder, ignore_errors=True)
        return JSONResponse({"error": str(fault)}, 400)
    except ClientDisconnect:
        shutil.rmtree(folder, ignore_errors=True)
        return JSONResponse({"error": "The upload broke off or is too large."}, 413)
    return JSONResponse(task.plain())


def _known(given: dict[str, str]) -> options.TuneOptions:
    """What the user said of a recording beforehand."""
    return options.TuneOptions(
        tune_type=options.tune_type(given["type"]) if given.get("type") else None,
        meter=options.meter(given["metre"]) if given.get("metre") else None,
        key=options.key(given["key"]) if given.get("key") else None,
        title=given.get("title") or None,
    )


def take(context: Any, request: Request, body: Any) -> Any:
    """A file that lies in the folder already is taken in."""
    path = context.shelf.loose().get(body.get("id"))
    if path is None:
        raise PipelineError("This file is not in the folder any more: look at the list again.")
    return _start(context, path, path.name, options.TuneOptions(), apart=bool(body.get("apart")),
                  scratch=None).plain()  # fmt: skip


def _start(
    context: Any, path: Path, name: str, known: options.TuneOptions, *, apart: bool,
    scratch: Path | None,
) -> PageTask:  # fmt: skip
    """Take a file in; a finished tab is taken apart, also where the user did not say so."""
    from liltwright.page.stages import is_finished_tab
    from liltwright.page.taking import take_apart, take_in
    from liltwright.run import is_written_tune

    def work(task: PageTask) -> str:
        try:
            if apart or (is_written_tune(path) and is_finished_tab(path)):
                return take_apart(context.shelf, path, name, context.player(), task)
            return take_in(context.shelf, path, name, known, task)
        finally:
            if scratch is not None:
                shutil.rmtree(scratch, ignore_errors=True)

    started: PageTask = context.tasks.start(name, work)
    return started


def task_state(context: Any, request: Request, body: Any) -> Any:
    """How a task stands."""
    return context.tasks.get(request.path_params["task"]).plain()


def task_stop(context: Any, request: Request, body: Any) -> Any:
    """Stop a task."""
    context.tasks.stop(request.path_params["task"])
    return {"stopping": True}


def task_picture(context: Any, request: Request, body: Any) -> Any:
    """The first picture of a recording."""
    task = context.tasks.get(request.path_params["task"])
    if not task.picture:
        raise PipelineError("There is no picture yet.")
    return Response(task.picture, media_type="image/png")


def sets(context: Any, request: Request, body: Any) -> Any:
    """Keep the sets."""
    context.shelf.save_sets(body.get("sets"))
    return {"sets": context.shelf.sets()}


def plan(context: Any, request: Request, body: Any) -> Any:
    """How tunes could be played one after another."""
    from liltwright.arrange.sets import SetSettings, plan_set
    from liltwright.summary import set_lines

    wanted = request.query_params.get("ids", "").split(",")
    if not 2 <= len(wanted) <= 5:
        raise UsageError("A set is planned for two to five tunes.")
    benches = [context.bench(one) for one in wanted]
    names = [bench.tune.title or bench.folder.name for bench in benches]
    settings = SetSettings(
        keep_order=request.query_params.get("order") == "keep",
        lift=request.query_params.get("lift") != "any", plans=2,
    )  # fmt: skip
    plans = plan_set(
        [bench.tune for bench in benches], [bench.ranking() for bench in benches], settings=settings
    )
    return {"plans": [
        {"order": [wanted[i] for i in one.order], "lines": list(set_lines(n, one, names))}
        for n, one in enumerate(plans, 1)
    ]}  # fmt: skip


def player(context: Any, request: Request, body: Any) -> Any:
    """The player's profile with what may be said."""
    from liltwright.guitar.player import LIMITS
    from liltwright.guitar.tension import string_sets
    from liltwright.guitar.tunings import catalogue

    return {
        "player": asdict(context.player()),
        "limits": {name: [low, high, what] for name, (low, high, what) in LIMITS.items()},
        "string_sets": list(string_sets()),
        "tunings": [one.name for one in catalogue()],
    }


def save_player(context: Any, request: Request, body: Any) -> Any:
    """Keep the profile; every setting is given as text, as on the command line."""
    from liltwright.ask import with_answer
    from liltwright.guitar import player as profile

    known = set(asdict(context.player()))
    changed = context.player()
    sizes = [name for name in ("widest_mm", "comfort_mm") if name in body]
    for name in (*sizes, *(one for one in body if one not in sizes)):
        if name not in known or not isinstance(body[name], str):
            raise UsageError(f'"{str(name)[:40]}" is no setting of the profile.')
        changed = with_answer(changed, name, body[name][:400])
    profile.save_player(replace(changed))
    return {"player": asdict(changed)}


ROUTES = (
    ("GET", "/api/shelf", shelf), ("POST", "/api/take", take),
    ("GET", "/api/tasks/{task}", task_state), ("POST", "/api/tasks/{task}/stop", task_stop),
    ("GET", "/api/tasks/{task}/picture", task_picture),
    ("POST", "/api/sets", sets), ("GET", "/api/plan", plan),
    ("GET", "/api/player", player), ("POST", "/api/player", save_player),
)  # fmt: skip
