"""What a user says about columns: which one is which channel."""

from __future__ import annotations

import re
from typing import NamedTuple

from quintain.errors import UsageError

__all__ = ["Column", "parse_columns"]

_ITEM = re.compile(r"^(?P<name>[^=\[\]]+)=(?P<which>[^\[\]@]+?)\s*(?:\[(?P<unit>[^\[\]]*)\])?\s*$")


class Column(NamedTuple):
    """One entry of a mapping: channel name, column (counted from 0, or its label in the file), unit or ''."""

    name: str
    which: int | str
    unit: str


def parse_columns(text: str) -> tuple[Column, ...]:
    """
    Read an explicit mapping of columns.

    Parameters
    ----------
    text : str
        Entries ``name=column[unit]`` separated by commas. The column is its number, counted from 1, or
        its label in the file; the unit may be left out where the file states it. The name ``time`` marks
        the time column.

    Returns
    -------
    tuple of Column
        The entries in the order given.

    Raises
    ------
    UsageError
        If an entry cannot be understood, a name stands twice, or only time is named.

    Examples
    --------
    >>> parse_columns("time=1[ms], force=Kraft[kN]")[1]
    Column(name='force', which='Kraft', unit='kN')
    """
    columns = []
    for item in re.split(r",(?![^\[]*\])", text):
        match = _ITEM.match(item.strip())
        which = match["which"].strip() if match else ""
        if not match or not which or which == "0":
            raise UsageError(
                f"columns: {item.strip()!r} cannot be understood — expected name=column[unit] with "
                "columns counted "
                "from 1, as in 'time=1[s],force=2[kN]'."
            )
        index = int(which) - 1 if re.fullmatch(r"[0-9]{1,6}", which) else which
        columns.append(Column(match["name"].strip(), index, (match["unit"] or "").strip()))
    names = [column.name for column in columns]
    for name in names:
        if names.count(name) > 1:
            raise UsageError(f"columns: the name {name!r} stands twice. Give each column its own name.")
    if names == ["time"]:
        raise UsageError(
            "columns: only time is named. Name at least one channel, as in 'time=1[s],force=2[kN]'."
        )
    return tuple(columns)
