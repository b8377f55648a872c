"""Where to go next, never off this server."""

from __future__ import annotations

__all__ = ["local_path"]


def local_path(wanted: str) -> str:
    """
    Keep a path of this server, or go to the overview.

    Examples
    --------
    >>> local_path("/rigs?due=1"), local_path("//elsewhere.example"), local_path("/" + chr(92) + "elsewhere")
    ('/rigs?due=1', '/', '/')
    """
    plain = wanted.isprintable() and "\\" not in wanted and wanted.isascii()
    return wanted if plain and wanted.startswith("/") and not wanted.startswith("//") else "/"
