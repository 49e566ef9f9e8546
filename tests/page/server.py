"""The page as a process of its own, and a client that speaks to it as a browser does."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any


class Page:
    """`liltwright page FOLDER` running; the first line of its output is its address."""

    def __init__(self, folder: Path, settings: Path, *more: str) -> None:
        self.folder, self.settings, self.more = folder, settings, more

    def __enter__(self) -> Page:
        began = time.monotonic()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "liltwright.start", "page", str(self.folder), "--no-browser",
             *self.more],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            env={**os.environ, "XDG_CONFIG_HOME": str(self.settings), "OMP_NUM_THREADS": "1"},
        )  # fmt: skip
        self.address = self.process.stdout.readline().strip()
        found = re.fullmatch(r"http://127\.0\.0\.1:(\d+)/\?key=([\w-]+)", self.address)
        assert found, (self.address, self.process.stderr.read())
        self.port, self.key = int(found[1]), found[2]
        self.host = f"127.0.0.1:{self.port}"
        answer = self.send("GET", f"/?key={self.key}")
        self.cookie = answer.getheader("set-cookie").split(";")[0]
        index = self.send("GET", "/", Cookie=self.cookie).text
        self.token = re.search(r'name="token" content="(\w+)"', index)[1]
        self.up_s = time.monotonic() - began
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                self.kill()
        self.process.stdout.close()
        self.process.stderr.close()

    def kill(self) -> None:
        """kill -9."""
        self.process.kill()
        self.process.wait(timeout=10)

    def send(self, method: str, path: str, body: Any = None, **heads: str) -> Any:
        """One request with just these header fields; the answer has .status, .text, .json()."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        heads = {name.replace("_", "-"): value for name, value in heads.items()}
        connection.request(method, path, body, heads)
        answer = connection.getresponse()
        answer.data = answer.read()
        answer.text = answer.data.decode("utf-8", "replace")
        answer.json = lambda: json.loads(answer.data)
        connection.close()
        return answer

    def get(self, path: str, **heads: str) -> Any:
        """A request of our own page."""
        return self.send("GET", path, Cookie=self.cookie, Sec_Fetch_Site="same-origin", **heads)

    def post(self, path: str, body: Any = None, **heads: str) -> Any:
        """A write of our own page."""
        data = body if isinstance(body, bytes) else json.dumps(body or {}).encode()
        given = {
            "Cookie": self.cookie, "Origin": f"http://{self.host}", "Sec_Fetch_Site": "same-origin",
            "X_Liltwright_Token": self.token,
        }  # fmt: skip
        given.update(heads)
        given = {name: value for name, value in given.items() if value is not None}
        return self.send("POST", path, data, **given)

    def tune(self, name: str) -> str:
        """The identifier of the tune in a folder."""
        return next(t["id"] for t in self.get("/api/shelf").json()["tunes"] if t["name"] == name)

    def finished(self, task: dict[str, Any], seconds: float = 120.0) -> dict[str, Any]:
        """Wait for a task."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            now = self.get(f"/api/tasks/{task['id']}").json()
            if now["done"]:
                return now
            time.sleep(0.1)
        raise AssertionError("the task did not end")
