"""Lines of a delimited text cut into cells, and what each cell looks like."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from functools import lru_cache

__all__ = ["MISSING", "cell_kinds", "cut_line", "number"]

MISSING = frozenset(
    {
        "", "-", "--", "---", "nan", "NaN", "NAN", "-nan", "-NaN", "nan(ind)", "-nan(ind)", "NA", "N/A",
        "n/a", "#N/A", "null", "NULL", "None", "inf", "-inf", "+inf", "Inf", "-Inf", "INF", "-INF",
        "Infinity",
        "-Infinity", "∞", "-∞",
        "1.#QNAN", "-1.#IND", "1.#INF", "-1.#INF", "missing", "#NV", "#NUM!", "#VALUE!",
    }
)  # fmt: skip
"""Cells that hold no measured number; all of them are read as NaN."""

_CLOCK = re.compile(r"\d{1,2}:\d\d:\d\d(?:[.,]\d+)?")
_DATE = re.compile(r"\d{4}[-/]\d\d[-/]\d\d|\d{1,2}\.\d{1,2}\.\d{4}")
_STAMP = re.compile(r"(?:\d{4}[-/]\d\d[-/]\d\d)[T ]\d\d:\d\d:\d\d(?:[.,]\d+)?(?:Z|[+-]\d\d:?\d\d)?")


@lru_cache
def _number(decimal: str) -> re.Pattern[str]:
    d = re.escape(decimal)
    return re.compile(rf"[+-]?(?:\d+(?:{d}\d*)?|{d}\d+)(?:[eE][+-]?\d+)?")


def cut_line(line: str, separator: str) -> list[str]:
    """Cut a line into stripped cells; a blank as separator stands for any run of blanks and tabs."""
    if separator == " ":
        return line.split()
    if '"' in line:
        try:
            return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
        except csv.Error:
            pass
    return [cell.strip() for cell in line.split(separator)]


def cell_kinds(cells: Sequence[str], decimal: str) -> str:
    """
    One letter for each cell.

    'n' number, '.' nothing measured, 'c' time of day, 'd' date, 's' date and time of day, 'x' any other
    text.

    Examples
    --------
    >>> cell_kinds(["1,5e-3", "", "12:30:01.5", "2026-11-25", "2026-11-25T12:30:01", "N", "1.5"], ",")
    'n.cdsxx'
    """
    is_number = _number(decimal).fullmatch
    return "".join(
        "n" if is_number(cell)
        else "." if cell in MISSING
        else "c" if _CLOCK.fullmatch(cell)
        else "d" if _DATE.fullmatch(cell)
        else "s" if _STAMP.fullmatch(cell)
        else "x"
        for cell in cells
    )  # fmt: skip


def number(cell: str, decimal: str) -> float:
    """
    Value of a cell, NaN where it holds none.

    Raises
    ------
    ValueError
        If the cell is neither a number nor one of :data:`MISSING`.
    """
    if cell in MISSING:
        return float("nan")
    if not _number(decimal).fullmatch(cell):
        raise ValueError(cell)
    return float(cell.replace(decimal, "."))
