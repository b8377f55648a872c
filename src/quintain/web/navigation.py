"""What stands in the head of every page; each page module brings its own entry."""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["Nav", "is_here"]


class Nav(NamedTuple):
    """
    An entry of the navigation.

    ``order`` sorts from left to right: Overview 0, Sessions 10, Rigs 20, People 30, Studies 40,
    Import 50, Compare 60, Methods 70, Reports 80.
    """

    label: str
    path: str
    order: int


def is_here(entry: Nav, path: str) -> bool:
    """
    Whether a page lies under an entry.

    Examples
    --------
    >>> is_here(Nav("Rigs", "/rigs", 20), "/rigs/pad-wall-2"), is_here(Nav("Overview", "/", 0), "/rigs")
    (True, False)
    """
    return path == entry.path or (entry.path != "/" and path.startswith(entry.path + "/"))
