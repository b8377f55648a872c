"""Speeds as a table of text states them: one a strike, or when two light gates were broken."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from pathlib import Path

from quintain.domain.motion import GateTimes, TypedSpeed
from quintain.errors import RecordingError, UnitError
from quintain.readers.cells import cut_line, number
from quintain.readers.units import find_unit, split_unit

__all__ = ["read_speed_table"]

EXPANDED = 1.96
"""What follows ± is an expanded uncertainty (95 %), as everywhere on screen."""

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
    columns = _columns(path)
    if {"first", "second"} & columns.keys():
        return _gates(columns, str(path))
    for name in ("strike", "speed"):
        if name not in columns:
            raise RecordingError(f"{path}: there is no column {name!r}; expected {_EXPECTED}")
    spreads = columns.get("u_speed", [math.nan] * len(columns["speed"]))
    by_strike: dict[int, tuple[float, float | None]] = {}
    for strike, speed, spread in zip(columns["strike"], columns["speed"], spreads, strict=True):
        if not (strike >= 1 and strike == int(strike)) or strike in by_strike:
            raise RecordingError(f"{path}: expected each strike's number once, got {strike:g}")
        if math.isfinite(speed):  # an empty cell: nothing was measured for this strike
            by_strike[int(strike)] = (speed, spread / EXPANDED if math.isfinite(spread) else None)
    return TypedSpeed(by_strike=by_strike)


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
    return GateTimes(times, columns["spacing"][0], U_RULER, U_CLOCK, to_pad)


def _columns(path: str | Path) -> dict[str, Column]:
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except OSError as problem:
        raise RecordingError(f"{path}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError:
        raise RecordingError(f"{path}: not UTF-8 text; save the table as CSV in UTF-8") from None
    lines = [
        (i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip() and line.lstrip()[0] != "#"
    ]
    separator = next((s for s in (";", "\t", ",") if lines and s in lines[0][1]), None)
    if len(lines) < 2 or separator is None:
        raise RecordingError(f"{path}: expected a header and rows of speeds: {_EXPECTED}")
    decimal = "," if separator != "," and any("," in line for _, line in lines[1:]) else "."
    readers: dict[str, tuple[int, float]] = {}
    for i, label in enumerate(cut_line(lines[0][1], separator)):
        name = _name(label)
        if name is not None:
            readers[name] = (i, _factor(name, label, str(path)))
    found: dict[str, Column] = {name: [] for name in readers}
    for line_number, line in lines[1:]:
        cells = cut_line(line, separator)
        for name, (i, factor) in readers.items():
            try:
                found[name].append(factor * number(cells[i], decimal) if i < len(cells) else math.nan)
            except ValueError:
                raise RecordingError(f"{path}, line {line_number}: {cells[i]!r} is no number") from None
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
