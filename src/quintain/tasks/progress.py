"""How long work tells where it is, and can be stopped."""

from __future__ import annotations

from typing import Protocol

__all__ = ["Cancelled", "Progress", "silent"]


class Cancelled(Exception):
    """Raised by a Progress to stop the work; nothing half done is left."""


class Progress(Protocol):
    """
    Called now and then by long work.

    ``done`` counts up to ``total`` (None when unknown) of what ``what`` names. To stop the work,
    raise :class:`Cancelled` from the call.
    """

    def __call__(self, what: str, done: float, total: float | None) -> None:
        """Take note."""
        ...


def silent(what: str, done: float, total: float | None) -> None:
    """Take no note."""
