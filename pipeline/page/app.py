"""The page's addresses: what each gives and takes. Everything that works is elsewhere.

Task: HTTP to the library and back. In: requests that the door let through (guard.py).
Out: HTML, JSON, pictures, sound; faults of the input as one sentence in {"error": ...}.
Method: handlers are plain functions in a thread, since the library's work is; a Context holds the
shelf, the open tunes and the tasks of one run.
"""

from __future__ import annotations

import json
import threading
import traceback
from collections import OrderedDict
from collections.abc import Callable
from html import escape
from importlib.resources import files as resources
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from liltwright.errors import PipelineError, UsageError
from liltwright.page.desk import StaleError
from liltwright.page.gate import Gate
from liltwright.page.guard import SPARE_S, Guard, cookie
from liltwright.page.loading import load
from liltwright.page.shelf import Shelf
from liltwright.page.tasks import Tasks

KINDS = {
    ".js": "text/javascript", ".css": "text/css", ".html": "text/html", ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json", ".txt": "text/plain",
}  # fmt: skip
MOST_OPEN = 8  # tunes kept in memory


class Context:
    """What one run of the page holds. Not frozen: tunes are opened and closed."""

    def __init__(self, shelf: Shelf, gate: Gate) -> None:
        """A run over a shelf."""
        self.shelf, self.gate, self.tasks = shelf, gate, Tasks()
        self._open: OrderedDict[str, Any] = OrderedDict()
        self._lock = threading.Lock()

    def player(self) -> Any:
        """The stored profile."""
        from liltwright.guitar.player import load_player

        return load_player()

    def bench(self, wanted: str) -> Any:
        """An open tune by its identifier, with what other programs did since."""
        from liltwright.page.bench import Bench

        folder = self.shelf.folder(wanted)
        with self._lock:
            bench = self._open.get(wanted)
            if bench is None or bench.folder != folder:
                bench = Bench(folder, self.player)
                self._open[wanted] = bench
            self._open.move_to_end(wanted)
            stale = [
                self._open.pop(next(iter(self._open))) for _ in range(len(self._open) - MOST_OPEN)
            ]
        for one in stale:
            one.close()
        bench.journal.refresh()
        return bench

    def close(self) -> None:
        """Write what is waiting to be written."""
        self.tasks.close()
        for bench in list(self._open.values()):
            bench.close()


Handler = Callable[[Context, Request, Any], Any]


def endpoint(handler: Handler) -> Callable[[Request], Any]:
    """A handler as an address: its body read, its work in a thread, its faults as sentences."""

    async def answer(request: Request) -> Response:
        context = request.app.state.context
        try:
            body = await _body(request)
            found = await run_in_threadpool(_handled, handler, context, request, body)
        except StaleError as fault:
            return JSONResponse({"error": str(fault), "stale": True}, 409)
        except UsageError as fault:
            return JSONResponse({"error": str(fault)}, 400)
        except PipelineError as fault:
            return JSONResponse({"error": str(fault)}, 422)
        except ClientDisconnect:
            return JSONResponse({"error": "The request is larger than is taken."}, 413)
        except OSError as fault:
            words = (fault.strerror or str(fault)).lower()
            return JSONResponse({"error": f"The folder could not be used ({words})."}, 500)
        except Exception:  # a bug: its traceback goes to the terminal, a sentence to the page
            traceback.print_exc()
            words = "Something went wrong in the program; the terminal says what."
            return JSONResponse({"error": words}, 500)
        return found if isinstance(found, Response) else JSONResponse(found)

    return answer


def _handled(handler: Handler, context: Context, request: Request, body: Any) -> Any:
    load()
    return handler(context, request, body)


async def _body(request: Request) -> Any:
    if request.method != "POST":
        return None
    data = await request.body()
    if not data:
        return {}
    try:
        found = json.loads(data)
    except (ValueError, RecursionError):
        raise UsageError("The request holds no JSON: load the page again.") from None
    if not isinstance(found, dict):
        raise UsageError("The request holds no JSON object: load the page again.")
    return found


def asset(name: str) -> bytes | None:
    """One of the shipped files by its plain name; None when there is none."""
    if name not in _names():
        return None
    return resources("liltwright.page").joinpath("assets", name).read_bytes()


def _names() -> frozenset[str]:
    folder = resources("liltwright.page").joinpath("assets")
    return frozenset(one.name for one in folder.iterdir() if one.is_file())


async def _asset(request: Request) -> Response:
    name = request.path_params["name"]
    data = asset(name)
    if data is None or name.endswith(".html"):
        return Response("There is no such file here.", 404, media_type="text/plain")
    return Response(data, media_type=KINDS.get(Path(name).suffix, "application/octet-stream"))


async def _index(request: Request) -> Response:
    gate: Gate = request.app.state.context.gate
    token = gate.token(request.state.secret)
    page = (asset("index.html") or b"").decode()
    return HTMLResponse(page.replace("%TOKEN%", escape(token)))


async def _code(request: Request) -> Response:
    """The question for the one-time code, and its answer from another device."""
    import asyncio

    context = request.app.state.context
    words = ""
    if request.method == "POST":
        data = await request.body()
        typed = data.decode("utf-8", "replace").partition("=")[2][:40]
        if context.gate.takes_code(typed):
            return RedirectResponse("/", 303, {"set-cookie": cookie(context.gate)})
        await asyncio.sleep(SPARE_S)
        words = "That was not the code." if context.gate.has_code else (
            "Too many wrong codes: ask for a new one by starting the page again."
        )  # fmt: skip
    page = (asset("code.html") or b"").decode().replace("%WORDS%", escape(words))
    return HTMLResponse(page, 403 if words else 200)


async def _nothing(request: Request) -> Response:
    return Response(status_code=204)


def make_app(context: Context) -> Any:
    """The whole application behind its door."""
    from liltwright.page import shelf_api, tune_api

    routes = [
        Route("/", _index), Route("/code", _code, methods=["GET", "POST"]),
        Route("/favicon.ico", _nothing), Route("/assets/{name}", _asset),
        Route("/api/upload", shelf_api.upload, methods=["POST"]),
        *(Route(path, endpoint(handler), methods=[method])
          for method, path, handler in (*shelf_api.ROUTES, *tune_api.ROUTES)),
    ]  # fmt: skip
    app = Starlette(routes=routes)
    app.state.context = context
    return Guard(app, context.gate)
