"""Start the page: a port, the address with its key, the browser; end it in order.

Task: `liltwright page FOLDER`. In: the folder, a port (0: any free one), whether to open a browser
and whether to let another device in. Out: the address as the first line of stdout; runs until
Ctrl-C.
Method: the socket is bound before anything heavy is loaded, so that the page is up at once; what
the first tune will need is loaded in the background then.
"""

from __future__ import annotations

import socket
import sys
import threading
from pathlib import Path
from typing import Any

from liltwright.errors import UsageError, to_type
from liltwright.page.gate import Gate
from liltwright.page.loading import warm_up

LOCAL = "127.0.0.1"
WARM_UP_AFTER_S = 1.0
"""The page itself comes first."""


def serve(folder: Path, *, port: int = 0, browser: bool = True, share: bool = False) -> None:
    """Serve a folder of tunes until Ctrl-C. Raises UsageError for a folder or port of no use."""
    from liltwright.page.shelf import Shelf

    shelf = Shelf(folder)
    listening = _bound("0.0.0.0" if share else LOCAL, port)
    port = listening.getsockname()[1]
    near = address_in_the_room() if share else None
    gate = Gate(port, (LOCAL, "localhost", *([near] if near else [])))
    address = f"http://{LOCAL}:{port}/?key={gate.key}"
    print(address, flush=True)
    if share:
        _say_shared(gate, near)
    sys.stderr.write(f"Tunes in {shelf.root}; Ctrl-C ends the page.\n")
    sys.stderr.flush()
    _run(shelf, gate, listening, address if browser else "")


def _say_shared(gate: Gate, near: str | None) -> None:
    if near is None:
        print("No network was found: other devices cannot reach the page.", flush=True)
        return
    print(f"On a device in the same network: http://{near}:{gate.port}/  code {gate.new_code()}")
    print("The code lets in one device, once. What is sent in the room is not encrypted, and a")
    print("browser lends its microphone to this machine only: record there and give the file.",
          flush=True)  # fmt: skip


def _bound(host: str, port: int) -> socket.socket:
    if not 0 <= port <= 65535:
        raise UsageError(
            f"{to_type('port', 'port')} {port} is no port: give 1024 to 65535, or 0 for a free one."
        )
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(256)  # who comes early waits in line
    except OSError as fault:
        listening.close()
        reason = (fault.strerror or str(fault)).lower()
        raise UsageError(
            f"{to_type('port', 'port')} {port} cannot be used ({reason}): give another."
        ) from fault
    return listening


def address_in_the_room() -> str | None:
    """This machine's address in its network; no packet is sent to find it."""
    probe = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): only the route is looked up
        found = str(probe.getsockname()[0])
    except OSError:
        return None
    finally:
        probe.close()
    return None if found.startswith("127.") or found == "0.0.0.0" else found


def _run(shelf: Any, gate: Gate, listening: socket.socket, open_at: str) -> None:
    import uvicorn

    from liltwright.page.app import Context, make_app

    context = Context(shelf, gate)
    config = uvicorn.Config(
        make_app(context), log_level="warning", access_log=False, server_header=False,
        date_header=False, lifespan="off", ws="none", timeout_keep_alive=20,
        timeout_graceful_shutdown=2, h11_max_incomplete_event_size=32_768,
    )  # fmt: skip
    server = uvicorn.Server(config)
    warming = threading.Timer(WARM_UP_AFTER_S, warm_up)
    warming.daemon = True
    warming.start()
    if open_at:
        threading.Thread(target=_open, args=(open_at,), daemon=True).start()
    try:
        server.run(sockets=[listening])
    finally:
        context.close()
        listening.close()


def _open(address: str) -> None:
    import webbrowser

    try:
        webbrowser.open(address)
    except (OSError, webbrowser.Error):
        return  # the address is on the screen
