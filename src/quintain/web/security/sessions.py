"""Who is signed in: random tokens, known only as hashes to the server, gone when it stops."""

from __future__ import annotations

import hashlib
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from quintain.web.security.roles import Role

__all__ = ["IDLE", "LONGEST", "Sessions", "Visitor"]

IDLE = 2 * 3600.0
"""A session ends after this long without a request. [s]"""

LONGEST = 12 * 3600.0
"""A session ends this long after signing in, whatever happens. [s]"""

_MOST = 1000
"""Sessions at a time; the one unused for longest gives way, so memory is bounded."""


@dataclass(frozen=True, slots=True)
class Visitor:
    """Whoever asks: a role, and a name for the history."""

    role: Role
    who: str


@dataclass(slots=True)
class _Session:
    visitor: Visitor
    began: float
    seen: float


class Sessions:
    """The open sessions of one server."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._open: OrderedDict[str, _Session] = OrderedDict()

    def begin(self, visitor: Visitor) -> str:
        """Open a session and return its token, always a new one."""
        token = secrets.token_urlsafe(32)
        now = self._clock()
        with self._lock:
            self._open[_key(token)] = _Session(visitor, now, now)
            while len(self._open) > _MOST:
                self._open.popitem(last=False)
        return token

    def find(self, token: str | None) -> Visitor | None:
        """The visitor of a token that is still good."""
        if not token:
            return None
        key, now = _key(token), self._clock()
        with self._lock:
            session = self._open.get(key)
            if session is None:
                return None
            if now - session.seen > IDLE or now - session.began > LONGEST:
                del self._open[key]
                return None
            session.seen = now
            self._open.move_to_end(key)
            return session.visitor

    def end(self, token: str | None) -> None:
        """Close a session."""
        with self._lock:
            self._open.pop(_key(token or ""), None)


def _key(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
