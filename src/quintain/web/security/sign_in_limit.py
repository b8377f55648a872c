"""How often somebody may try a passphrase: by address, and over all addresses."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable

__all__ = ["SignInLimit"]


class SignInLimit:
    """
    A sliding window of attempts.

    Every attempt counts from before its passphrase is checked, so that many at once gain nothing; a good
    one is taken back. The limit over all addresses bounds what the check itself costs; while it is
    reached nobody can sign in, which sessions that are open do not notice.
    """

    def __init__(
        self,
        *,
        each: int = 5,
        overall: int = 30,
        window: float = 60.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._each, self._overall, self._window, self._clock = each, overall, window, clock
        self._lock = threading.Lock()
        self._attempts: deque[tuple[float, str]] = deque()  # never more than ``overall``

    def attempt(self, address: str) -> float:
        """Count an attempt; return 0, or for how many seconds to wait, and then it is not counted."""
        now = self._clock()
        with self._lock:
            while self._attempts and now - self._attempts[0][0] >= self._window:
                self._attempts.popleft()
            own = [moment for moment, who in self._attempts if who == address]
            if len(own) >= self._each:
                return self._window - (now - own[0])
            if len(self._attempts) >= self._overall:
                return self._window - (now - self._attempts[0][0])
            self._attempts.append((now, address))
            return 0.0

    def forgive(self, address: str) -> None:
        """Take back the attempts of an address that knew the passphrase."""
        with self._lock:
            self._attempts = deque(entry for entry in self._attempts if entry[1] != address)
