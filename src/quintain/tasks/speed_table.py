"""Speeds as a table of text states them: one a strike, or when two light gates were broken."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

from quintain.domain.motion import GateTimes, TypedSpeed
from quintain.errors import RecordingError, UnitError
from quintain.readers.cells import cut_line, number
from quintain.readers.units import find_unit, split_unit

__all__ = [
    "TABLES",
    "keep_speed_table",
    "parse_speed_table",
    "read_speed_table",
    "speeds_in_words",
    "text_of_table",
]

EXPANDED = 1.96
"""What follows ± is an expanded uncertainty (95 %), as everywhere on screen."""

TABLES = (".csv", ".txt", ".tsv")
"""Endings of files that hold a table, where speeds may be typed as well."""

U_CLOCK = 0.0001
"""Standard uncertainty of a gate's time where the table states none. [s]"""

U_RULER = 0.001
"""Standard uncertainty of the gates' spacing where the table states none. [m]"""

_WORDS = {
    "strike": ("strike", "no", "no.", "number"),
    "speed": ("speed",),
    "u_speed": ("±", "+-", "+/-"),
    "first": ("first",),
    "second": ("second",),
    "spacing": ("spacing",),
    "to_pad": ("to pad", "distance to pad"),
}
_QUANTITY = {
    "speed": "speed",
    "u_speed": "speed",
    "first": "time",
    "second": "time",
    "spacing": "position",
    "to_pad": "position",
}
_EXPECTED = "'strike, speed [m/s], ± [m/s]' or 'first [s], second [s], spacing [m], to pad [m]'"

Column = list[float]


def read_speed_table(path: str | Path) -> TypedSpeed | GateTimes:
    """
    Read speeds from a table.

    Parameters
    ----------
    path : path
        Text with one header row, its columns parted by comma, semicolon or tab, units in the header. Either
        ``strike, speed [m/s], ± [m/s]`` with the strikes' numbers and, where known, the expanded uncertainty
        (95 %); or ``first [s], second [s], spacing [m], to pad [m]``: when two light gates were broken, on
        the clock of the force, how far apart they are, and how far the second stands from the pad (0 if left
        out).

    Returns
    -------
    TypedSpeed or GateTimes
        In SI units.

    Raises
    ------
    RecordingError
        If the file is not such a table, with the line.
    UnitError
        If a column has no unit that fits.
    """
    return parse_speed_table(text_of_table(path), str(path))


def text_of_table(path: str | Path) -> str:
    """
    Text of a file that holds a table.

    Raises
    ------
    RecordingError
        If it cannot be read, or is no text.
    """
    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except OSError as problem:
        raise RecordingError(f"{path}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError:
        raise RecordingError(f"{path}: not UTF-8 text; save the table as CSV in UTF-8") from None


def parse_speed_table(text: str, where: str = "the table of speeds") -> TypedSpeed | GateTimes:
    """
    Understand the text of a table of speeds, as :func:`read_speed_table` describes it.

    Parameters
    ----------
    text : str
        Header and rows.
    where : str
        What the table is called in messages.

    Raises
    ------
    RecordingError, UnitError
        As :func:`read_speed_table`.

    Examples
    --------
    >>> parse_speed_table("first [s], second [s], spacing [m]\\n1.00, 1.01, 0.08").times
    ((1.0, 1.01),)
    """
    columns = _numbers(_cut(text, where), where)
    if {"first", "second"} & columns.keys():
        return _gates(columns, where)
    for name in ("strike", "speed"):
        if name not in columns:
            raise RecordingError(f"{where}: there is no column {name!r}; expected {_EXPECTED}")
    spreads = columns.get("u_speed", [math.nan] * len(columns["speed"]))
    by_strike: dict[int, tuple[float, float | None]] = {}
    for strike, speed, spread in zip(columns["strike"], columns["speed"], spreads, strict=True):
        if not (strike >= 1 and strike == int(strike)) or strike in by_strike:
            raise RecordingError(f"{where}: expected each strike's number once, got {strike:g}")
        if math.isfinite(speed):  # an empty cell: nothing was measured for this strike
            if not speed > 0:
                raise RecordingError(
                    f"{where}: strike {strike:g}: a speed must be above 0 m/s, got {speed:g}"
                )
            by_strike[int(strike)] = (speed, spread / EXPANDED if math.isfinite(spread) else None)
    if not by_strike:
        raise RecordingError(f"{where}: the table holds no speed; fill in the column 'speed'")
    return TypedSpeed(by_strike=by_strike)


def keep_speed_table(text: str, where: str = "the table of speeds") -> str:
    """
    What a lab keeps of a table: the columns that are read, their cells as they were written.

    Remarks and other columns may name somebody, and say nothing of a speed.

    Raises
    ------
    RecordingError, UnitError
        If it is no table of speeds, as :func:`read_speed_table`.

    Examples
    --------
    >>> print(keep_speed_table("# gym\\nstrike; who; speed [m/s]\\n1; Ada; 8,20"), end="")
    strike;speed [m/s]
    1;8,20
    """
    parse_speed_table(text, where)
    table = _cut(text, where)
    kept = [i for i, label in enumerate(table.header) if _name(label) is not None]
    if not all(row[i].isprintable() for _, row in table.rows for i in kept if i < len(row)) or not all(
        table.header[i].isprintable() for i in kept
    ):
        raise RecordingError(f"{where}: it holds marks that cannot be shown; save the table as CSV in UTF-8")
    lines = io.StringIO()
    writer = csv.writer(lines, delimiter=table.separator, lineterminator="\n")
    for row in (table.header, *(cells for _, cells in table.rows)):
        writer.writerow([row[i] if i < len(row) else "" for i in kept])
    return lines.getvalue()


def speeds_in_words(stated: str) -> str:
    """
    Speeds as a lab keeps them, in a few words: what was typed, or what a table holds.

    Examples
    --------
    >>> speeds_in_words("8.2+-0.2; 7.9")
    '8.2+-0.2; 7.9'
    >>> speeds_in_words("strike,speed [m/s]\\n1,8.2\\n2,7.9\\n")
    'a table of 2 speeds'
    >>> speeds_in_words("first [s],second [s],spacing [m]\\n1.00,1.01,0.08\\n")
    'a table of 1 pass through two light gates 0.08 m apart, 0 m before the pad'
    """
    if "\n" not in stated:
        return stated
    told = parse_speed_table(stated)
    if isinstance(told, TypedSpeed):
        n = len(told.by_strike)
        return f"a table of {n} speed{'' if n == 1 else 's'}"
    n = len(told.times)
    passes = f"{n} pass{'' if n == 1 else 'es'}"
    return (
        f"a table of {passes} through two light gates {told.spacing:.4g} m apart, "
        f"{told.distance_to_pad:.4g} m before the pad"
    )


def _gates(columns: Mapping[str, Column], where: str) -> GateTimes:
    for name in ("first", "second", "spacing"):
        if name not in columns:
            raise RecordingError(f"{where}: there is no column {name!r}; expected {_EXPECTED}")
    for name in ("spacing", "to_pad"):
        found = set(columns.get(name, [0.0]))
        if len(found) > 1:
            raise RecordingError(
                f"{where}: column {name!r} changes from {min(found):g} to {max(found):g} m; gates that were "
                "moved need a table, and an analysis, of their own"
            )
    times = tuple(
        pair
        for pair in zip(columns["first"], columns["second"], strict=True)
        if all(map(math.isfinite, pair))
    )
    to_pad = columns.get("to_pad", [0.0])[0]
    if not times or not columns["spacing"][0] > 0 or not to_pad >= 0:
        raise RecordingError(
            f"{where}: expected two times in a row, a spacing above 0 and a distance to the pad from 0 up"
        )
    for first, second in times:
        if not second > first:
            raise RecordingError(
                f"{where}: the second gate is broken after the first, got {first:g} s and {second:g} s; "
                "exchange the columns"
            )
    return GateTimes(times, columns["spacing"][0], U_RULER, U_CLOCK, to_pad)


class _Table(NamedTuple):
    """Cells as they were written: the header's, and of each row with the number of its line."""

    separator: str
    header: list[str]
    rows: list[tuple[int, list[str]]]


def _cut(text: str, where: str) -> _Table:
    lines = [
        (i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip() and line.lstrip()[0] != "#"
    ]
    separator = next((s for s in (";", "\t", ",") if lines and s in lines[0][1]), None)
    if len(lines) < 2 or separator is None:
        raise RecordingError(f"{where}: expected a header and rows of speeds: {_EXPECTED}")
    rows = [(i, cut_line(line, separator)) for i, line in lines[1:]]
    return _Table(separator, cut_line(lines[0][1], separator), rows)


def _numbers(table: _Table, where: str) -> dict[str, Column]:
    readers: dict[str, tuple[int, float]] = {}
    for i, label in enumerate(table.header):
        name = _name(label)
        if name is not None:
            readers[name] = (i, _factor(name, label, where))
    # other columns may hold commas that divide no number
    read = [cells[i] for _, cells in table.rows for i, _ in readers.values() if i < len(cells)]
    decimal = "," if table.separator != "," and any("," in cell for cell in read) else "."
    found: dict[str, Column] = {name: [] for name in readers}
    for line_number, cells in table.rows:
        for name, (i, factor) in readers.items():
            try:
                found[name].append(factor * number(cells[i], decimal) if i < len(cells) else math.nan)
            except ValueError:
                raise RecordingError(f"{where}, line {line_number}: {cells[i]!r} is no number") from None
    return found


def _name(label: str) -> str | None:
    """What a column holds, by the words in front of its unit."""
    plain = split_unit(label)[0].lower()
    words = re.sub(r"[\s_]+", " ", plain).strip()
    matches: Callable[[str], bool] = lambda word: words == word or words.startswith(f"{word} ")  # noqa: E731
    return next((name for name, known in _WORDS.items() if any(map(matches, known))), None)


def _factor(name: str, label: str, where: str) -> float:
    if name not in _QUANTITY:
        return 1.0
    unit = find_unit(split_unit(label)[1])
    if unit is None or unit.quantity != _QUANTITY[name]:
        raise UnitError(f"{where}: column {label!r} needs a unit; expected {_EXPECTED}")
    return unit.factor
