"""Waiting for what another thread or process does: a minute, as the machine may be busy, never a nap."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


def wait_for(look: Callable[[], T], what: str) -> T:
    """Ask until the answer is true in Python's sense; give that answer."""
    end = time.monotonic() + 60.0
    while not (seen := look()):
        if time.monotonic() > end:
            raise AssertionError(f"waited a minute in vain: {what}")
        time.sleep(0.02)
    return seen
