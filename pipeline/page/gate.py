"""Who may come in: the token of the address, sessions, and the one-time code for another device.

Task: let in the person who started the program, and nobody else.
In: a port, the hosts that may be named. Out: Gate: sessions by secret cookie, each with a token
for writing.
Method: the printed address holds a key; it opens a session, whose secret is a cookie that no script
can read. A write must bring the session's token as well, which only our own page knows. With
`--share` a code of eight letters opens one more session, once; five wrong codes end it.
References: OWASP cheat sheet on cross-site request forgery: synchroniser token, Fetch metadata.
"""

from __future__ import annotations

import hmac
import secrets
import threading
from hashlib import sha256

CODE_LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
CODE_LENGTH = 8  # letters; with five tries nobody guesses it
MOST_TRIES = 5  # wrong codes that end the code
MOST_SESSIONS = 64  # browsers that may be in at once


class Gate:
    """Sessions of one run of the page. Not frozen: sessions come and the code is used up."""

    def __init__(self, port: int, hosts: tuple[str, ...] = ("127.0.0.1", "localhost")) -> None:
        """No session yet; `hosts` are the names under which the page may be asked for."""
        self.port = port
        self.hosts = frozenset(f"{host}:{port}" for host in hosts)
        self.key = secrets.token_urlsafe(24)
        self.cookie = f"liltwright_{port}"
        self._seed = secrets.token_bytes(32)
        self._sessions: dict[str, None] = {}
        self._code: str | None = None
        self._tries = 0
        self._lock = threading.Lock()

    def new_code(self) -> str:
        """A code that opens one session, written in two groups of four."""
        letters = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
        with self._lock:
            self._code, self._tries = letters, 0
        return f"{letters[:4]}-{letters[4:]}"

    def opens(self, key: str) -> bool:
        """Whether this is the key of the printed address."""
        return hmac.compare_digest(key.encode(), self.key.encode())

    def takes_code(self, typed: str) -> bool:
        """Whether this is the code; it is used up by that, and void after five wrong ones."""
        plain = "".join(sign for sign in typed.upper() if sign.isalnum())
        with self._lock:
            if self._code is None:
                return False
            if hmac.compare_digest(plain.encode(), self._code.encode()):
                self._code = None
                return True
            self._tries += 1
            if self._tries >= MOST_TRIES:
                self._code = None
            return False

    @property
    def has_code(self) -> bool:
        """Whether a code is still open."""
        return self._code is not None

    def begin(self) -> str:
        """The secret of a new session."""
        secret = secrets.token_urlsafe(24)
        with self._lock:
            while len(self._sessions) >= MOST_SESSIONS:
                self._sessions.pop(next(iter(self._sessions)))
            self._sessions[secret] = None
        return secret

    def knows(self, secret: str) -> bool:
        """Whether a cookie is that of a session."""
        return secret in self._sessions

    def token(self, secret: str) -> str:
        """What a write in this session must bring."""
        return hmac.new(self._seed, secret.encode(), sha256).hexdigest()

    def may_write(self, secret: str, token: str) -> bool:
        """Whether a token belongs to a session."""
        return self.knows(secret) and hmac.compare_digest(
            token.encode(), self.token(secret).encode()
        )
