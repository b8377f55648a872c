"""Asking a database about many rows: some at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TypeVar

__all__ = ["in_batches"]

T = TypeVar("T")

_MOST = 500
"""SQLite before 3.32 takes 999 values in one statement, and a list may stand in it beside others."""


def in_batches(keys: Sequence[T]) -> Iterator[Sequence[T]]:
    """
    Cut keys into as many at a time as every database takes in one statement.

    Examples
    --------
    >>> [len(some) for some in in_batches(range(1201))]
    [500, 500, 201]
    """
    for first in range(0, len(keys), _MOST):
        yield keys[first : first + _MOST]
