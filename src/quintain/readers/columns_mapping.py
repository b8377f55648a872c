"""What a user says about columns: which one is which channel, and in which unit."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import NamedTuple

from quintain.errors import UsageError

__all__ = ["Column", "parse_columns", "parse_units"]

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


def parse_units(units: str | Mapping[str, str] | None) -> tuple[str, dict[str, str]]:
    """
    Read what a user says about units.

    Parameters
    ----------
    units : str or mapping or None
        One unit for all channels that state none ('N'), or units by channel ('acc=g,force=kN', or a
        mapping).

    Returns
    -------
    for_all : str
        Unit of channels that state none, '' if not given.
    by_channel : dict of str to str
        Unit of each channel named.

    Raises
    ------
    UsageError
        If an entry cannot be understood.

    Examples
    --------
    >>> parse_units("acc=g,force=kN")
    ('', {'acc': 'g', 'force': 'kN'})
    """
    if units is None:
        return "", {}
    if not isinstance(units, str):
        return "", dict(units)
    if "=" not in units:
        return units.strip(), {}
    by_channel = {}
    for item in units.split(","):
        name, sign, unit = item.rpartition("=")
        if not sign or not name.strip() or not unit.strip():
            raise UsageError(
                f"units: {item.strip()!r} cannot be understood — expected channel=unit as in 'force=kN'."
            )
        by_channel[name.strip()] = unit.strip()
    return "", by_channel
