"""Tables of static loads: masses or forces, and what the chain read under them."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from quintain.errors import RecordingError, UnitError
from quintain.readers.cells import cut_line, number
from quintain.readers.units import find_unit, split_unit

__all__ = ["LoadTable", "read_load_table"]

MASS_UNITS = {"kg": 1.0, "g": 1e-3, "t": 1e3, "lb": 0.45359237}
NAMES = {
    "mass": ("mass", "masse", "weight", "gewicht"),
    "force": ("force", "kraft", "load", "last", "applied", "reference", "f"),
    "reading": (
        "reading",
        "output",
        "signal",
        "indication",
        "indicated",
        "deflection",
        "anzeige",
        "x",
        "shown",
    ),
    "series": ("series", "run", "reihe", "cycle"),
    "direction": ("direction", "richtung"),
    "rotation": ("rotation", "position", "angle", "winkel", "lage"),
}
UP = ("up", "rising", "increasing", "auf", "inc", "loading", "+", "1")
DOWN = ("down", "falling", "decreasing", "ab", "dec", "unloading", "-", "-1")
UNITLESS = ("digits", "counts", "1", "-")


@dataclass(frozen=True, slots=True)
class LoadTable:
    """
    One row a load. Exactly one of ``mass`` [kg] and ``force`` [N] is given.

    ``reading`` is in ``reading_unit``, an SI unit (V, V/V, N) or ``digits``; ``direction`` is +1 for rising
    and -1 for falling loads, 0 where the table does not tell; ``series`` and ``rotation`` are the labels of
    the table; ``reading_factor`` turns a reading as written into ``reading_unit``.
    """

    path: str
    sha256: str
    mass: NDArray[np.float64] | None
    force: NDArray[np.float64] | None
    reading: NDArray[np.float64]
    reading_unit: str
    reading_factor: float
    series: tuple[str, ...] | None
    rotation: tuple[str, ...] | None
    direction: NDArray[np.int64]


def read_load_table(path: str | Path) -> LoadTable:
    """
    Read a table of static loads from delimited text.

    Parameters
    ----------
    path : path
        Text with one header row: a column of mass or force, one of the reading, and optionally series,
        direction and rotation; units in the header, as in 'force [kN]' or 'reading_mV_V'.

    Returns
    -------
    LoadTable
        In SI units.

    Raises
    ------
    RecordingError
        If the file cannot be read, or a cell that should hold a number does not.
    UnitError
        If a unit is missing or not known.
    """
    try:
        content = Path(path).read_bytes()
        text = content.decode("utf-8-sig")
    except OSError as problem:
        raise RecordingError(f"{path}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError:
        raise RecordingError(f"{path}: not UTF-8 text; save the load table as CSV in UTF-8") from None
    lines = [
        (i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip() and line.lstrip()[0] != "#"
    ]
    separator = next((s for s in (";", "\t", ",") if lines and s in lines[0][1]), None)
    if len(lines) < 2 or separator is None:
        raise RecordingError(
            f"{path}: expected a header row and rows of loads, separated by comma, semicolon or tab"
        )
    comma = separator != "," and any("," in line for _, line in lines[1:])
    labels = cut_line(lines[0][1], separator)
    columns, units = _assign(labels, str(path))
    rows = []
    for line_number, line in lines[1:]:
        cells = cut_line(line, separator)
        if len(cells) < len(labels):
            raise RecordingError(
                f"{path}, line {line_number}: expected {len(labels)} cells, got {len(cells)}"
            )
        rows.append((line_number, cells))

    def numbers(kind: str) -> NDArray[np.float64]:
        values = []
        for line_number, cells in rows:
            cell = cells[columns[kind]]
            try:
                values.append(number(cell, "," if comma else "."))
            except ValueError:
                raise RecordingError(
                    f"{path}, line {line_number}: {cell!r} in column {labels[columns[kind]]!r} is no number"
                ) from None
            if np.isnan(values[-1]):
                raise RecordingError(
                    f"{path}, line {line_number}: nothing stands in column {labels[columns[kind]]!r}"
                )
        return np.array(values) * units[kind][1]

    def words(kind: str) -> tuple[str, ...] | None:
        return tuple(cells[columns[kind]] for _, cells in rows) if kind in columns else None

    directions = [_direction(word) for word in words("direction") or [""] * len(rows)]
    return LoadTable(
        path=str(path),
        sha256=hashlib.sha256(content).hexdigest(),
        mass=numbers("mass") if "mass" in columns else None,
        force=numbers("force") if "force" in columns else None,
        reading=numbers("reading"),
        reading_unit=units["reading"][0],
        reading_factor=units["reading"][1],
        series=words("series"),
        rotation=words("rotation"),
        direction=np.array(directions, dtype=np.int64),
    )


def _assign(labels: list[str], where: str) -> tuple[dict[str, int], dict[str, tuple[str, float]]]:
    """Which column holds what, and the SI unit and factor of those with a unit."""
    columns: dict[str, int] = {}
    units: dict[str, tuple[str, float]] = {}
    for i, label in enumerate(labels):
        name, unit = _split(label)
        kind = _kind(name, unit)
        if kind is None:
            continue
        if kind in columns:
            raise RecordingError(
                f"{where}: columns {labels[columns[kind]]!r} and {label!r} both hold the {kind}"
            )
        columns[kind] = i
        if kind == "mass":
            if unit not in MASS_UNITS:
                raise UnitError(
                    f"{where}: column {label!r} needs a unit of mass, one of {', '.join(MASS_UNITS)}"
                )
            units[kind] = ("kg", MASS_UNITS[unit])
        elif kind == "force":
            found = find_unit(unit)
            if found is None or found.quantity != "force":
                raise UnitError(f"{where}: column {label!r} needs a unit of force, as in 'force [N]'")
            units[kind] = ("N", found.factor)
        elif kind == "reading":
            found = find_unit(unit)
            if unit.lower() in UNITLESS:
                units[kind] = ("digits", 1.0)
            elif found is None or found.si not in ("V", "V/V", "N"):
                raise UnitError(
                    f"{where}: column {label!r} needs a unit: mV/V, V, N or digits, as in 'reading [mV/V]'"
                )
            else:
                units[kind] = (found.si, found.factor)
    if "mass" in columns and "force" in columns:
        raise RecordingError(f"{where}: give either the mass or the force of each load, not both")
    if "reading" not in columns or not {"mass", "force"} & columns.keys():
        raise RecordingError(
            f"{where}: expected a column of mass or force and one of the reading, got {', '.join(labels)}"
        )
    return columns, units


def _split(label: str) -> tuple[str, str]:
    """Name and unit; unlike for channels, masses have units here."""
    name, unit = split_unit(label)
    if not unit:
        match = re.fullmatch(r"(.+?)[\s_]+(kg|g|t|lb|digits|counts)", label.strip())
        if match:
            return match[1], match[2]
    return name, unit


def _kind(name: str, unit: str) -> str | None:
    word = re.split(r"[\s_]", name.strip().lower())
    kinds = [kind for kind, known in NAMES.items() if any(w in known for w in word)]
    if "reading" in kinds:  # 'force reading' is a reading
        return "reading"
    if kinds == ["mass"] or kinds == ["force"]:
        # 'load [kg]' is a mass, 'weight [N]' a force
        return "mass" if unit in MASS_UNITS else "force" if unit else kinds[0]
    return kinds[0] if kinds else None


def _direction(word: str) -> int:
    word = word.strip().lower()
    return 1 if word in UP else -1 if word in DOWN else 0
