"""A text file's table understood: encoding, make, channels with their units, and clocks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from quintain.errors import ChannelError, RecordingError, UnitError, UsageError
from quintain.readers.cells import cut_line
from quintain.readers.columns_header import (
    Labels,
    find_interval,
    find_labels,
    find_started,
    is_row_number,
    is_time,
    label_index,
)
from quintain.readers.columns_mapping import Column, parse_columns
from quintain.readers.columns_stream import TableFile, open_bytes
from quintain.readers.columns_table import Table, decode_head, find_encoding, find_table
from quintain.readers.fingerprint import Fingerprint
from quintain.readers.units import Unit, find_unit, parse_units, require_unit

__all__ = ["ChannelColumn", "Clock", "Layout", "find_layout"]

_HEAD = 1 << 16
_LONGEST_HEAD = 1 << 24


@dataclass(frozen=True, slots=True)
class Clock:
    """
    A time column, or a pair of date and time of day.

    ``factor`` turns its numbers into seconds; it is None where neither the file nor the user states the
    unit. ``row`` marks a column that counts samples instead.
    """

    columns: tuple[int, ...]
    name: str
    kinds: str
    factor: float | None
    row: bool = False


@dataclass(frozen=True, slots=True)
class ChannelColumn:
    """A column of samples, its unit and which of the clocks it goes by (None: there is none)."""

    index: int
    name: str
    unit: Unit
    clock: int | None


@dataclass(frozen=True, slots=True)
class Layout:
    """All that the head of a text file and the user say about it."""

    file: TableFile
    channels: tuple[ChannelColumn, ...]
    clocks: tuple[Clock, ...]
    interval: float | None
    """Sampling interval that the header states. [s]"""
    header: str
    started: datetime | None


def find_layout(
    fingerprint: Fingerprint,
    *,
    columns: str | None = None,
    units: str | Mapping[str, str] | None = None,
    encoding: str | None = None,
    separator: str | None = None,
    decimal: str | None = None,
    first_row: int | None = None,
) -> Layout:
    """
    Understand the head of a text file.

    Parameters
    ----------
    fingerprint : Fingerprint
        The file.
    columns, units, encoding, separator, decimal, first_row
        What the user says, see :func:`quintain.readers.columns.read_columns`.

    Returns
    -------
    Layout
        Where the table is, its channels and clocks.

    Raises
    ------
    RecordingError
        If no table of numbers is found, or it is damaged near its beginning.
    ChannelError
        If columns have no names and none were given, or a column asked for is not there.
    UnitError
        If a time column has no unit, or the user gives one that is not known.
    UsageError
        If a setting makes no sense.
    """
    where = str(fingerprint.path)
    wanted = parse_columns(columns) if columns is not None else ()
    if separator is not None and (
        len(separator) != 1 or not (separator in "\t ,;|:" or separator.isprintable())
    ):
        raise UsageError(
            f"{where}: separator must be one character, got {separator!r}. Tab is '\\t', blanks are ' '."
        )
    if decimal not in (None, ".", ","):
        raise UsageError(f"{where}: decimal must be '.' or ',', got {decimal!r}.")
    if decimal is not None and decimal == separator and decimal != ",":
        raise UsageError(
            f"{where}: separator and decimal mark are both {decimal!r}. Give two different ones."
        )
    if first_row is not None and first_row < 1:
        raise UsageError(f"{where}: first_row counts lines from 1, got {first_row}.")
    numbered = [column.which for column in wanted if isinstance(column.which, int)]
    n_bytes, table = _HEAD, None
    while True:
        lines, encoding_found, compressed, whole = _read_head(fingerprint, encoding, n_bytes)
        if len(lines) >= (first_row or 1):
            table = find_table(
                lines,
                where,
                separator=separator,
                decimal=decimal,
                columns=numbered if len(numbered) == len(wanted) else None,
                first_line=None if first_row is None else first_row - 1,
            )
        if whole or n_bytes >= _LONGEST_HEAD or (table and table.first_line < 0.5 * len(lines)):
            break
        n_bytes *= 16
    if table is None or not table.columns or table.first_line >= len(lines):
        raise RecordingError(
            f"{where}: no rows of numbers follow in the first {len(lines)} lines. The file holds a header "
            "only or is "
            "no recording; state separator, decimal or first_row if it is one."
        )
    labels = find_labels(lines, table, where)
    # An oscilloscope writes its header into cells beside the first samples.
    beside = [i for i, kind in enumerate(table.kinds) if kind == "x"]
    words = [n for n, line in enumerate(lines[:200]) if _says(cut_line(line, table.separator), beside)]
    header = lines[: max(table.first_line, words[-1] + 1 if words else 0)]
    file = TableFile(fingerprint, table, encoding_found, compressed, any('"' in line for line in lines))
    channels, clocks = _assign(table, labels, wanted, units, where)
    return Layout(
        file,
        channels,
        clocks,
        find_interval(header, table.separator),
        "\n".join(header),
        find_started(header),
    )


def _says(cells: Sequence[str], columns: Sequence[int]) -> bool:
    """Whether one of the columns holds something in this row."""
    return any(cells[i] for i in columns if i < len(cells))


def _read_head(
    fingerprint: Fingerprint, encoding: str | None, n_bytes: int
) -> tuple[list[str], str, bool, bool]:
    """First whole lines of the file, its encoding, whether it is gzip, and whether that is all of it."""
    where = str(fingerprint.path)
    try:
        with open(where, "rb") as file:
            compressed = file.read(2) == b"\x1f\x8b"
        with open_bytes(where, compressed=compressed) as file:
            head = file.read(n_bytes)
            whole = not file.read(1)
    except Exception as error:
        fingerprint.check_unchanged()
        raise RecordingError(
            f"{where}: the file is damaged or cannot be read ({error}). Copy it again."
        ) from None
    if not head:
        raise RecordingError(f"{where}: the compressed file holds nothing. Export the recording again.")
    encoding = find_encoding(head, encoding, where)
    text = decode_head(head, encoding, where).removeprefix("\ufeff")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").replace("\x1a", "").split("\n")
    if not whole and len(lines) > 1:
        lines.pop()
    while lines and not lines[-1].strip(" "):
        lines.pop()
    return lines, encoding, compressed, whole


def _assign(
    table: Table,
    labels: Labels,
    wanted: Sequence[Column],
    units: str | Mapping[str, str] | None,
    where: str,
) -> tuple[tuple[ChannelColumn, ...], tuple[Clock, ...]]:
    """Tell channels from clocks, and find the unit of each."""
    given = parse_units(units)
    columns = _named_by_user(table, labels, wanted, where) if wanted else _named_by_file(table, labels, where)
    given.check_names((name for name, _, _, _ in columns), where)
    channels: list[ChannelColumn] = []
    clocks: list[Clock] = []
    for name, index, stated, time in columns:
        text = given.by_channel.get(name) or stated
        kind = table.kinds[index]
        if time:
            if kind == "c" and clocks and clocks[-1].kinds == "d":
                clocks[-1] = Clock((*clocks[-1].columns, index), name, "dc", 1.0)
                continue
            clocks.append(Clock((index,), name, kind, _time_factor(text, name, kind, where)))
        else:
            if wanted and stated:
                require_unit(stated, channel=name, where=where)
            unit = given.choose(name, stated, where)
            channels.append(ChannelColumn(index, name, unit, len(clocks) - 1 if clocks else None))
    counters = [
        c
        for c, (_, _, stated, _) in zip(channels, (c for c in columns if not c[3]), strict=True)
        if not wanted and not stated and is_row_number(c.name)
    ]
    if counters and len(channels) > 1:
        channels = [c for c in channels if c is not counters[0]]
        if not clocks:
            clocks.append(Clock((counters[0].index,), counters[0].name, "n", None, row=True))
    if not channels:
        worded = [i + 1 for i, kind in enumerate(table.kinds) if kind == "x"]
        beside = f"column {worded[0]} holds text, no numbers" if worded else "no channel stands beside it"
        raise ChannelError(
            f"{where}: there is a time column, but {beside}. Export the force as plain numbers."
        )
    if clocks:
        channels = [c if c.clock is not None else ChannelColumn(c.index, c.name, c.unit, 0) for c in channels]
    return tuple(channels), tuple(clocks)


def _named_by_user(
    table: Table, labels: Labels, wanted: Sequence[Column], where: str
) -> list[tuple[str, int, str, bool]]:
    columns = []
    for name, which, unit in wanted:
        index = which if isinstance(which, int) else label_index(labels, which, where)
        if index >= len(table.kinds):
            raise ChannelError(
                f"{where}: there is no column {index + 1}; the table has {len(table.kinds)} columns."
            )
        if table.kinds[index] not in ("n" if name != "time" else "ncds"):
            raise ChannelError(
                f"{where}: column {index + 1} for {name!r} holds no numbers. Choose another column."
            )
        columns.append((name, index, unit or labels.units[index], name == "time"))
    return sorted(columns, key=lambda column: not column[3])


def _named_by_file(table: Table, labels: Labels, where: str) -> list[tuple[str, int, str, bool]]:
    used = table.columns
    if not any(labels.names[i] or labels.units[i] for i in used) and len(used) > 1:
        raise ChannelError(
            f"{where}: the {len(used)} columns have no names. Say which is which with "
            "columns='time=1[s],force=2[N]' (columns counted from 1)."
        )
    columns = []
    for i in used:
        unit = find_unit(labels.units[i]) if labels.units[i] else None
        time = (
            table.kinds[i] != "n"
            or is_time(labels.names[i])
            or (unit is not None and unit.quantity == "time")
        )
        name = labels.names[i] or ("time" if time else "signal" if len(used) == 1 else f"column {i + 1}")
        columns.append((name, i, labels.units[i], time))
    return columns


def _time_factor(text: str, name: str, kind: str, where: str) -> float | None:
    if kind != "n":
        return 1.0
    if not text:
        return None
    unit = require_unit(text, channel=name, where=where)
    if unit.quantity != "time":
        raise UnitError(
            f"{where}: time column {name!r} has the unit {text!r}, which is no time. State s, ms, us or min."
        )
    return unit.factor
