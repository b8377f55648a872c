"""What the lines above a table say: names, units, sampling rate and start of the recording."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from quintain.errors import ChannelError, RecordingError
from quintain.readers.cells import MISSING, cell_kinds, cut_line
from quintain.readers.columns_table import Table
from quintain.readers.units import find_unit, split_unit

__all__ = ["Labels", "find_interval", "find_labels", "find_started", "is_row_number", "is_time"]

_COMMENT = re.compile(r"^\s*(?:[#%;!*']+|//)\s*")
_UNITS_LINE = re.compile(r"^(?:units?|einheit(?:en)?|unité?s?)\b\W*$", re.IGNORECASE)
_NAMES_IN_WORDS = re.compile(r"^(?:channels?|names?|kan[aä]le?|signals?)\b\W*$", re.IGNORECASE)

_TIME = re.compile(
    r"(?:(?:abs|absolute|rel|relative|elapsed|sample|sampling|test|utc|local|date)[ _.]*(?:and[ _])?)?"
    r"(?:time|zeit|messzeit|temps|tiempo|tempo|tijd|tid|t|x[ _]?value|timestamp|time[ _]?stamp|zeitstempel|"
    r"datetime|datum|date|uhrzeit|clock)(?:[ _]?(?:stamp|axis|achse|[0-9]+|#))?",
    re.IGNORECASE,
)
_ROW = re.compile(
    r"(?:sample|samples|index|idx|row|no|nr|num|number|frame|scan|n|i|#|messpunkt|zeile)"
    r"(?:[ _]?(?:#|no|nr|number|num|index|\(#\)))?\.?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Labels:
    """Names and units of the columns as written ('' where the file states none)."""

    names: tuple[str, ...]
    units: tuple[str, ...]


def is_time(name: str) -> bool:
    """
    Whether a column's name says that it holds the time.

    Examples
    --------
    >>> is_time("abs time"), is_time("Zeit 2"), is_time("contact time"), is_time("Fz")
    (True, True, False, False)
    """
    unit = find_unit(name)
    return bool(_TIME.fullmatch(name.strip(" :"))) or (
        unit is not None and unit.quantity == "time" and len(name) > 1
    )


def is_row_number(name: str) -> bool:
    """Whether a column's name says that it counts the rows."""
    return bool(_ROW.fullmatch(name.strip(" :")))


def _cells(line: str, table: Table) -> list[str]:
    """Cells of a header line, also where it is a comment or separated otherwise than the numbers."""
    bare = _COMMENT.sub("", line)
    width = len(table.kinds)
    found = cut_line(bare, table.separator)
    if table.separator == " ":
        found = [cell.strip(",;|") for cell in found]
    for mark in ("\t", ";", ",", "|", "  "):
        if len(found) == width or width == 1:
            break
        if mark in bare:
            cells = [
                c.strip() for c in (re.split(r"\s{2,}", bare.strip()) if mark == "  " else bare.split(mark))
            ]
            found = cells if len(cells) == width else found
    if width == 1 and table.separator == " ":
        return [bare.strip()]
    return found


def _all_units(cells: Sequence[str]) -> bool:
    """Whether a line is a row of units; blanks and dashes stand for no unit."""
    said = [cell for cell in cells if cell and cell not in MISSING and not _UNITS_LINE.match(cell)]
    bracketed = [bool(re.fullmatch(r"[\[(].*[\])]", cell)) for cell in said]
    return (
        bool(said)
        and (all(bracketed) or sum(find_unit(c) is not None for c in said) >= 0.5 * len(said))
        and all(len(cell) <= 12 for cell in said)
    )


def find_labels(lines: Sequence[str], table: Table, where: str) -> Labels:
    """
    Find the names and units of the columns in the lines above the table.

    Parameters
    ----------
    lines : sequence of str
        Lines of the head of the file.
    table : Table
        Where the table begins and how it is made.
    where : str
        File, for messages.

    Returns
    -------
    Labels
        One entry a column; empty strings where the file says nothing.

    Raises
    ------
    RecordingError
        If the line above the numbers is half words and half numbers: it may be a damaged row.
    """
    width = len(table.kinds)
    blank = ("",) * width
    above = [i for i in range(table.first_line) if lines[i].strip() and set(lines[i].strip()) - set("-=_*# ")]
    if not above:
        return Labels(blank, blank)
    needed = max(table.columns) + 1
    rows = {i: _cells(lines[i], table) for i in above[-3:]}
    nearest = rows[above[-1]]
    kinds = cell_kinds(nearest, table.decimal)
    seen = [kinds[i] for i in table.columns if i < len(kinds)]
    if len(nearest) >= width and "x" in seen and "n" in seen and len(seen) == len(table.columns) > 1:
        bad = next(nearest[i] for i in table.columns if kinds[i] == "x")
        raise RecordingError(
            f"{where}: row {above[-1] + 1} holds the text {bad[:30]!r} among numbers. Correct or delete "
            "that row, or "
            "say with first_row where the numbers begin."
        )
    units: Sequence[str] = ()
    names: Sequence[str] = ()
    place = len(above) - 1
    if len(nearest) >= needed and _all_units(nearest) and place and len(rows[above[place - 1]]) >= needed:
        units = nearest
        place -= 1
    candidate = rows[above[place]]
    if len(candidate) >= needed and "n" not in [
        k for i, k in enumerate(cell_kinds(candidate, table.decimal)) if i in table.columns
    ]:
        names = candidate
        if not units and place and not any(split_unit(name)[1] for name in names):
            row = rows.get(above[place - 1], [])
            units = row if len(row) == len(names) and _all_units(row) else ()
    split = [split_unit(name) for name in names]
    found_names = [split[i][0] if i < len(split) else "" for i in range(width)]
    found_units = [split[i][1] if i < len(split) else "" for i in range(width)]
    for i, unit in enumerate(units[:width]):
        if unit and unit not in MISSING and not _UNITS_LINE.match(unit):
            found_names[i] = names[i] if i < len(names) and not find_unit(found_units[i]) else found_names[i]
            found_units[i] = unit.strip("[](){} ")
    # A column called 'ms' or 'seconds' states its unit by its name.
    for i, name in enumerate(found_names):
        own = find_unit(name)
        if not found_units[i] and own is not None and own.quantity == "time" and len(name) > 1:
            found_units[i] = name
    return Labels(_distinct(found_names), tuple(found_units))


def _distinct(names: Sequence[str]) -> tuple[str, ...]:
    """Names with a number after those that stand twice."""
    count: dict[str, int] = {}
    result = []
    for name in names:
        count[name] = count.get(name, 0) + 1
        result.append(f"{name} ({count[name]})" if name and count[name] > 1 else name)
    return tuple(result)


_RATE = re.compile(
    r"\b(?:sampl\w*[ _-]*(?:rate|freq\w*)|rate|abtast(?:rate|frequenz)|messrate|fs|fréquence|frecuencia)\b",
    re.IGNORECASE,
)
_INTERVAL = re.compile(
    r"\b(?:sampl\w*[ _-]*(?:interval|period|time)|delta[ _]?[xt]|dt|x?increment|abtast(?:intervall|zeit))\b",
    re.IGNORECASE,
)
_VALUE = re.compile(r"(?<![\w.,])[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?(?![\w.,])")
_UNIT_WORD = re.compile(r"(?<![A-Za-z])(M?Hz|kHz|[Ss]a?/s|[mµun]?s|msec|sec|seconds?)(?![A-Za-z])")


def find_interval(lines: Sequence[str], separator: str = "\t") -> float | None:
    """
    Find the sampling interval that the lines above a table state in words.

    Parameters
    ----------
    lines : sequence of str
        Lines such as 'Rate (Hz): 1000', 'Abtastrate: 10 kHz' or '"Sample Interval",8e-9,s'.
    separator : str
        What separates cells; any other comma is a decimal mark.

    Returns
    -------
    float or None
        Interval, None if it is not stated with its unit, or in two ways that differ. [s]

    Examples
    --------
    >>> find_interval(["Rate (Hz):\t1000.0\t1000.0"]), find_interval(["Sample rate: 1000"])
    (0.001, None)
    """
    found = set()
    for line in lines:
        for pattern, unit_of in ((_RATE, "frequency"), (_INTERVAL, "time")):
            match = pattern.search(line)
            if not match:
                continue
            rest = line[match.end() :].replace(separator, " ")[:200]
            word = _UNIT_WORD.search(rest)
            text = word[1] if word else ""
            unit = find_unit("Hz" if text.endswith("/s") else text) if text else None
            values = {float(v.replace(",", ".")) for v in _VALUE.findall(rest)}
            # The oscilloscope's line goes on with the first samples: only the first number counts there.
            first = _VALUE.search(rest)
            if unit is None or unit.quantity != unit_of or first is None:
                continue
            value = float(first[0].replace(",", ".")) * unit.factor
            if value > 0 and (unit_of == "time" or len(values) == 1):
                found.add(value if unit_of == "time" else 1 / value)
    if not found or max(found) > 1.001 * min(found):
        return None
    return min(found)


_MOMENT = re.compile(r"(\d{4})[-/](\d\d)[-/](\d\d)[T ,;\t]+(\d\d:\d\d:\d\d)(?:[.,](\d{1,6}))?")
_DAY = re.compile(
    r"\b(?:date|datum|fecha)\b\W*?(?:(\d{4})[-/](\d\d)[-/](\d\d)|(\d{1,2})\.(\d{1,2})\.(\d{4}))",
    re.IGNORECASE,
)
_HOUR = re.compile(r"\b(?:time|zeit|uhrzeit|start)\b\W*?(\d\d:\d\d:\d\d)(?:[.,](\d{1,6}))?", re.IGNORECASE)


def find_started(lines: Sequence[str]) -> datetime | None:
    """
    Find the date and time at which the recording began, if the lines above the table state both.

    Only orders of day and month that cannot be mistaken are read: 2026-11-25, 2026/11/25 and 25.11.2026.

    Examples
    --------
    >>> find_started(["Date\t25.11.2026", "Time\t13:39:50.887"])
    datetime.datetime(2026, 11, 25, 13, 39, 50, 887000)
    """
    text = "\n".join(lines)[:20_000]
    try:
        if match := _MOMENT.search(text):
            year, month, day, clock, fraction = match.groups()
        else:
            date, hour = _DAY.search(text), _HOUR.search(text)
            if not date or not hour:
                return None
            year, month, day = date.groups()[:3] if date[1] else date.groups()[:2:-1]
            clock, fraction = hour.groups()
        return datetime.fromisoformat(f"{year}-{int(month):02}-{int(day):02}T{clock}.{(fraction or '0'):0<6}")
    except ValueError:
        return None


def label_index(labels: Labels, which: str, where: str) -> int:
    """
    Column that has a label.

    Raises
    ------
    ChannelError
        If no column has it.
    """
    for i, name in enumerate(labels.names):
        if name and which.strip().lower() in (name.lower(), split_unit(name)[0].lower()):
            return i
    there = (
        ", ".join(repr(name) for name in labels.names if name) or "none with a name; give its number instead"
    )
    raise ChannelError(f"{where}: there is no column {which!r}; there are: {there}")
