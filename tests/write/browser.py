"""A headless Chromium driven over its debugging pipe: just enough to open a page and use it.

Reference: Chrome DevTools Protocol 1.3 (domains Page, Runtime, Network, Log, Emulation), spoken
over file descriptors 3 and 4 with messages ended by a zero byte.
"""

from __future__ import annotations

import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--remote-debugging-pipe",
    "--disable-background-networking", "--disable-component-update", "--no-first-run",
    "--disable-dev-shm-usage", "--autoplay-policy=no-user-gesture-required", "--mute-audio",
)  # fmt: skip


class Browser:
    """One page. `errors` collects console errors and uncaught exceptions, `requests` addresses."""

    def __init__(self, *flags: str) -> None:
        self._flags = flags
        self.errors: list[str] = []
        self.requests: list[str] = []
        self._next = 0
        self._buffer = b""

    def __enter__(self) -> Browser:
        self._folder = tempfile.mkdtemp()
        to_them, self._out = os.pipe()
        self._in, from_them = os.pipe()

        def descriptors() -> None:
            os.dup2(to_them, 3)
            os.dup2(from_them, 4)

        name = shutil.which("chromium") or shutil.which("chromium-browser") or "chromium"
        # Keep the pipes clear of 3 and 4 in the child, whatever numbers they have here.
        to_them, from_them = (os.dup(fd) if fd in (3, 4) else fd for fd in (to_them, from_them))
        self._process = subprocess.Popen(
            [name, *FLAGS, *self._flags, f"--user-data-dir={self._folder}", "about:blank"],
            pass_fds=(3, 4, to_them, from_them), preexec_fn=descriptors,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        targets = self._call("Target.getTargets")["targetInfos"]
        target = next(t["targetId"] for t in targets if t["type"] == "page")
        attached = self._call("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{domain}.enable")
        self.size(1100, 900)
        return self

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait(timeout=10)
        shutil.rmtree(self._folder, ignore_errors=True)

    def size(self, width: int, height: int) -> None:
        """The window's size in CSS pixels."""
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height,
            deviceScaleFactor=1, mobile=False,
        )  # fmt: skip

    def open(self, page: Path | str) -> None:
        """Load a file or an address and wait for it; errors and requests count from here."""
        self.errors, self.requests = [], []
        self.call("Page.navigate", url=page if isinstance(page, str) else page.as_uri())
        self.wait_for("document.readyState === 'complete'")

    def run(self, script: str) -> Any:
        """The value of an expression in the page; promises are waited for."""
        found = self.call(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True,
            userGesture=True,
        )  # fmt: skip
        if "exceptionDetails" in found:
            raise AssertionError(found["exceptionDetails"])
        return found["result"].get("value")

    def wait_for(self, script: str, seconds: float = 15.0) -> None:
        """Until an expression is true. Raises AssertionError after `seconds`."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if self.run(script):
                return
            time.sleep(0.05)
        raise AssertionError(f"never true in {seconds} s: {script}")

    def press(self, key: str, code: str = "", *, modifiers: int = 0) -> None:
        """A key, down and up; modifiers as in the protocol (2 Ctrl, 8 Shift)."""
        known = {"ArrowUp": 38, "ArrowDown": 40, "ArrowLeft": 37, "ArrowRight": 39, "Enter": 13}
        number = known.get(key) or ord(key[0].upper())
        given = {"key": key, "code": code or key, "windowsVirtualKeyCode": number}
        text = {"text": key} if len(key) == 1 and not modifiers & 2 else {}
        self.call("Input.dispatchKeyEvent", type="keyDown", modifiers=modifiers, **given, **text)
        self.call("Input.dispatchKeyEvent", type="keyUp", modifiers=modifiers, **given)

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command of the protocol to the page."""
        return self._call(method, session=self._session, **params)

    def _call(self, method: str, *, session: str = "", **params: Any) -> dict[str, Any]:
        self._next += 1
        message = {"id": self._next, "method": method, "params": params}
        if session:
            message["sessionId"] = session
        os.write(self._out, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._read()
            if answer.get("id") == self._next:
                if "error" in answer:
                    raise AssertionError(f"{method}: {answer['error']}")
                return answer["result"]
            self._note(answer)

    def _read(self) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._in], [], [], 60.0)
            piece = os.read(self._in, 1 << 16) if ready else b""
            if not piece:
                raise AssertionError("the browser went silent")
            self._buffer += piece
        text, _, self._buffer = self._buffer.partition(b"\0")
        return json.loads(text)

    def _note(self, event: dict[str, Any]) -> None:
        method, params = event.get("method", ""), event.get("params", {})
        if method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method == "Runtime.exceptionThrown":
            self.errors.append(json.dumps(params["exceptionDetails"]))
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
            self.errors.append(json.dumps(params["args"]))
        elif method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            self.errors.append(params["entry"]["text"])
