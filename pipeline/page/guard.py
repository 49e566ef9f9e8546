"""The door of the page: every request passes here before anything of ours sees it.

Task: refuse what another web page, another name for this machine or another person sends.
In: ASGI requests. Out: the request to the app, or a short answer that says why not.
Method: in this order: the Host must be on the list (against rebinding of names); only GET, HEAD and
POST; what the browser says of the origin must be this page; a session's cookie; for a write the
session's token, and no more bytes than the route takes. Every answer carries a strict policy.
References: Content Security Policy level 3; Fetch Metadata Request Headers (W3C); RFC 9110.
"""

from __future__ import annotations

import asyncio
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from liltwright.page.gate import Gate

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "media-src 'self' blob: data:; connect-src 'self'; worker-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"
HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"microphone=(self), camera=(), geolocation=()"),
)
JSON_BYTES = 1_000_000  # of a request's body, an edit is far smaller
UPLOAD_BYTES = 700_000_000
"""An hour of 16-bit stereo at 48 kHz has 690 MB."""
TOKEN_HEADER = "x-liltwright-token"
SPARE_S = 0.4
"""How long a wrong key or code has to wait."""


class Guard:
    """ASGI middleware, outermost."""

    def __init__(self, app: Any, gate: Gate) -> None:
        """Guard `app`."""
        self.app, self.gate = app, gate

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Let a request through or answer it here."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        heads = _heads(scope)
        refusal = self._refused(scope, heads)
        if refusal:
            await _answer(send, *refusal)
            return
        secret = self._session(heads)
        scope.setdefault("state", {})["secret"] = secret
        if await self._came_in(scope, send):
            return
        path, method = scope["path"], scope["method"]
        if not secret and not path.startswith("/assets/") and path not in ("/code", "/favicon.ico"):
            if path == "/" and self.gate.has_code:
                scope["path"] = "/code"
            else:
                await _answer(send, 403, _NO_SESSION)
                return
        if method == "POST" and path != "/code":
            token = heads.get(TOKEN_HEADER, "")
            if not self.gate.may_write(secret, token):
                await _answer(send, 403, "This write brings no valid token: load the page again.")
                return
        await self.app(scope, _limited(receive, _most_bytes(path)), _with_policy(send))

    def _refused(self, scope: Any, heads: dict[str, str]) -> tuple[int, str] | None:
        """Status and sentence for a request that is not for us."""
        host = heads.get("host", "").lower()
        if host not in self.gate.hosts:
            return 421, "This name is not one of this page: open the address that was printed."
        method = scope["method"]
        if method not in ("GET", "HEAD", "POST"):
            return 405, f"{method[:12]} is not understood here: use GET or POST."
        site, origin = heads.get("sec-fetch-site"), heads.get("origin")
        if site == "cross-site" or site == "same-site":
            entering = scope["path"] == "/" and heads.get("sec-fetch-mode") == "navigate"
            if method == "POST" or not entering:
                return 403, "Another page sent this: only the page itself may."
        if origin is not None and origin.lower() not in {f"http://{h}" for h in self.gate.hosts}:
            return 403, "Another page sent this: only the page itself may."
        if method == "POST":
            if origin is None and site is None:
                return 403, "The request says not where it comes from: use a present-day browser."
            if site == "none":
                return 403, "A write cannot come from the address line."
            length = heads.get("content-length", "")
            if length and (not length.isdigit() or int(length) > _most_bytes(scope["path"])):
                most = _most_bytes(scope["path"])
                return 413, f"The upload is larger than {most:,} bytes: give a shorter recording."
        return None

    def _session(self, heads: dict[str, str]) -> str:
        try:
            found = SimpleCookie(heads.get("cookie", "")).get(self.gate.cookie)
        except CookieError:
            return ""
        return found.value if found and self.gate.knows(found.value) else ""

    async def _came_in(self, scope: Any, send: Any) -> bool:
        """Whether the request brought the key of the address and was answered with a session."""
        if scope["path"] != "/" or b"key=" not in scope["query_string"]:
            return False
        given = parse_qs(scope["query_string"].decode("latin-1")).get("key", [""])[0]
        if not self.gate.opens(given):
            await asyncio.sleep(SPARE_S)
            await _answer(send, 403, _NO_SESSION)
            return True
        await _answer(send, 303, "Come in.", (
            (b"location", b"/"), (b"set-cookie", cookie(self.gate).encode()),
        ))  # fmt: skip
        return True


_NO_SESSION = (
    "This page is open only to whoever started it: open the whole address that the program printed."
)


def cookie(gate: Gate) -> str:
    """The Set-Cookie text of a new session."""
    return f"{gate.cookie}={gate.begin()}; Path=/; HttpOnly; SameSite=Strict"


def _heads(scope: Any) -> dict[str, str]:
    """Header fields by name; a Host that is given twice counts as none."""
    found: dict[str, str] = {}
    for name, value in scope["headers"]:
        key = name.decode("latin-1").lower()
        if key in found and key in ("host", "origin"):
            found[key] = "twice"
        else:
            found[key] = value.decode("latin-1")
    return found


def _most_bytes(path: str) -> int:
    return UPLOAD_BYTES if path == "/api/upload" else JSON_BYTES


def _limited(receive: Any, most: int) -> Any:
    """The body, cut off where it grows beyond the limit without having said so."""
    seen = 0

    async def counted() -> Any:
        nonlocal seen
        message = await receive()
        if message["type"] == "http.request":
            seen += len(message.get("body", b""))
            if seen > most:
                return {"type": "http.disconnect"}
        return message

    return counted


def _with_policy(send: Any) -> Any:
    async def sent(message: Any) -> None:
        if message["type"] == "http.response.start":
            heads = list(message.get("headers", []))
            names = {name.lower() for name, _ in heads}
            kind = dict(heads).get(b"content-type", b"")
            policy = PICTURE_POLICY if kind.startswith(b"image/svg") else POLICY
            heads.append((b"content-security-policy", policy.encode()))
            heads += [pair for pair in HEADERS if pair[0] not in names]
            if b"cache-control" not in names:
                heads.append((b"cache-control", b"no-store"))
            message = {**message, "headers": heads}
        await send(message)

    return sent


async def _answer(
    send: Any, status: int, sentence: str, more: tuple[tuple[bytes, bytes], ...] = ()
) -> None:
    body = sentence.encode()
    heads = [(b"content-type", b"text/plain; charset=utf-8"),
             (b"content-length", str(len(body)).encode()), (b"cache-control", b"no-store"),
             (b"content-security-policy", POLICY.encode()), *HEADERS, *more]  # fmt: skip
    if status == 413:
        heads.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": status, "headers": heads})
    await send({"type": "http.response.body", "body": body})
