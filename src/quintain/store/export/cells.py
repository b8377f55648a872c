"""Text in cells of CSV and XLSX, so that no spreadsheet takes it for a formula."""

from __future__ import annotations

__all__ = ["GUARD", "guard", "unguard"]

GUARD = "'"
"""Stands before a text that a spreadsheet could run, and before one that begins with itself."""

_BEGINNINGS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20", GUARD)


def guard(text: str) -> str:
    """
    Text as it stands in a cell.

    Parameters
    ----------
    text : str
        Any text; numbers are not guarded, they stay numbers.

    Returns
    -------
    str
        With an apostrophe before it if it begins with ``= + - @``, a tab, a line break, the wide forms of
        these signs, or an apostrophe; else as it is.

    Notes
    -----
    The signs are those that the Open Worldwide Application Security Project names under CSV injection.
    Since a leading apostrophe gets one more, :func:`unguard` gives back every text exactly.

    Examples
    --------
    >>> guard("=1+1"), guard("jab"), guard("'t was late")
    ("'=1+1", 'jab', "''t was late")
    """
    return GUARD + text if text.startswith(_BEGINNINGS) else text


def unguard(cell: str) -> str:
    """
    Undo :func:`guard`.

    Examples
    --------
    >>> unguard(guard("-5 on the scale"))
    '-5 on the scale'
    """
    return cell.removeprefix(GUARD)
