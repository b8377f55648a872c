"""Where the table of numbers lies in the head of a text file, and how its cells are separated."""

from __future__ import annotations

import codecs
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from quintain.errors import RecordingError, UsageError
from quintain.readers.cells import cell_kinds, cut_line

__all__ = ["Table", "decode_head", "find_encoding", "find_table"]

_SEPARATORS = ("\t", ";", ",", "|", " ")
_TAIL = 400
"""Lines at the end of the head from which the make of the table is read."""
_STEADY = 3
"""Lines in a row that must look alike before a table is taken to begin."""


@dataclass(frozen=True, slots=True)
class Table:
    """
    Make of a table of numbers.

    ``kinds`` holds one letter a column: 'n' numbers, 'c' time of day, 'd' date, 's' date and time,
    'x' text, '.' nothing (see :func:`quintain.readers.cells.cell_kinds`). ``first_line`` is the line
    of the first samples, counted from 0; ``end_line`` the one after the last samples, None for the end of
    the file.
    """

    separator: str
    decimal: str
    kinds: str
    first_line: int
    end_line: int | None = None

    @property
    def columns(self) -> list[int]:
        """Columns that hold numbers or times."""
        return [i for i, kind in enumerate(self.kinds) if kind in "ncds"]


def find_encoding(head: bytes, encoding: str | None, where: str) -> str:
    """
    Tell the encoding of a text from its first bytes.

    Parameters
    ----------
    head : bytes
        First bytes of the file, at least one.
    encoding : str or None
        What the user says, None if nothing.
    where : str
        File, for messages.

    Returns
    -------
    str
        Name of a Python codec. Text that is not UTF-8 is taken for Windows-1252, which shares every
        printable character with ISO 8859-1.

    Raises
    ------
    UsageError
        If the user names an encoding that does not exist.
    RecordingError
        If the bytes are no text.
    """
    if encoding is not None:
        try:
            return codecs.lookup(encoding).name
        except (LookupError, ValueError):
            raise UsageError(
                f"{where}: there is no encoding {encoding!r}. Usual ones are utf-8, utf-16, cp1252 and "
                "latin-1."
            ) from None
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF32_LE, "utf-32"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if head.startswith(mark):
            return name
    sample = head[:4096]
    if 0 in sample:
        half = len(sample) // 2 or 1
        odd, even = sample[1::2].count(0) / half, sample[::2].count(0) / half
        if odd > 0.8 and even < 0.2:
            return "utf-16-le"
        if even > 0.8 and odd < 0.2:
            return "utf-16-be"
    # Printable text has no control characters but white space, form feed and the end-of-file mark of DOS.
    strange = sum(sample.count(byte) for byte in range(32) if byte not in b"\t\n\v\f\r\x1a")
    if strange > len(sample) / 500:
        raise RecordingError(
            f"{where}: this is no text — {strange} of the first {len(sample)} bytes are control "
            "characters, and "
            "no other reader knows the format. Export the recording as text, WAV or another open format."
        )
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def decode_head(head: bytes, encoding: str, where: str) -> str:
    """
    Decode the first bytes of a text; the last character may be cut.

    Raises
    ------
    RecordingError
        If the bytes do not fit an encoding whose characters span several bytes.
    """
    try:
        return codecs.getincrementaldecoder(encoding)("replace").decode(head)
    except (UnicodeError, ValueError, LookupError) as error:
        raise RecordingError(
            f"{where}: the text is not {encoding} ({error}). State another one with encoding."
        ) from None


def _make(rows: Sequence[str]) -> str:
    """Kinds of the columns of a table, from the kinds of its rows' cells; '' if rows are no table."""
    width = Counter(len(row) for row in rows).most_common(1)[0][0]
    rows = [row for row in rows if 0 < len(row) <= width]
    make = ""
    for i in range(width):
        seen = Counter(row[i] for row in rows if i < len(row) and row[i] != ".")
        total = sum(seen.values())
        kind, n = seen.most_common(1)[0] if seen else (".", 0)
        # A column with a stray word among its numbers is a column of numbers with an error in it.
        make += kind if kind == "." or n >= 0.9 * total else "x"
    return make


def _fits(row: str, make: str, columns: Sequence[int]) -> bool:
    """Whether a row can stand in the table: its cells are of their columns' kinds or empty."""
    cells = [row[i] if i < len(row) else "." for i in columns]
    return any(c != "." for c in cells) and all(
        c in (".", make[i]) or (make[i] == "." and c == "n") for c, i in zip(cells, columns, strict=True)
    )


def find_table(
    lines: Sequence[str],
    where: str,
    *,
    separator: str | None = None,
    decimal: str | None = None,
    columns: Sequence[int] | None = None,
    first_line: int | None = None,
) -> Table | None:
    """
    Find separator, decimal mark and first row of the table in the head of a file.

    Parameters
    ----------
    lines : sequence of str
        Lines of the head, without the last one if it is cut.
    where : str
        File, for messages.
    separator, decimal : str, optional
        What the user says about them.
    columns : sequence of int, optional
        Columns the user asked for, counted from 0; only they decide what is a row.
    first_line : int, optional
        Line of the first samples if the user says so, counted from 0.

    Returns
    -------
    Table or None
        None if no lines of numbers are found.

    Raises
    ------
    RecordingError
        If the text can be cut in two ways that both give numbers.
    """
    tail = [line for line in lines[first_line or 0 :] if line.strip()][-_TAIL:]
    if not tail:
        return None
    found: list[tuple[int, int, str, str, str]] = []
    for mark in (separator,) if separator else _SEPARATORS:
        if mark != " " and not any(mark in line for line in tail):
            continue
        cut = [cut_line(line, mark) for line in tail]
        for point in (decimal,) if decimal else (".", ","):
            if mark == "," == point and not any('"' in line for line in tail):
                continue
            rows = [cell_kinds(cells, point) for cells in cut]
            # The lower half of a head is table if anything is; a short file may be nearly all header.
            n = len(rows)
            while n := max(n // 2, _STEADY) if n > _STEADY else n - 1 if len(rows) > 1 else 1:
                make = _make(rows[-n:])
                wanted = [i for i, kind in enumerate(make) if kind in "ncds"]
                score = sum(_fits(row, make, wanted) for row in rows) if "n" in make else 0
                if score:
                    found.append((score, len(wanted), mark, point, make))
                if len(rows) == 1 or (score and "x" not in make):
                    break
    if not found:
        return None
    # Among equal scores the make without text wins, then the earlier separator: blanks cut like tabs do,
    # but lose empty cells.
    best = max(found, key=lambda f: (f[0], -f[4].count("x")))
    rivals = [f for f in found if f[0] == best[0] and f[2] != best[2] and f[3] == "," and best[2] == ","]
    if rivals and first_line is None:
        upward = (cut_line(line, ",") for line in reversed(lines) if line.strip())
        words = next((cells for cells in upward if "x" in cell_kinds(cells, ".")), None)
        if words is None:
            raise RecordingError(
                f"{where}: a comma may separate columns here or be the decimal mark "
                f"({tail[-1].strip()[:40]!r}). "
                "Say which with separator=',' or decimal=','."
            )
        if len([word for word in words if word]) != best[1]:
            best = rivals[0]
    _, _, mark, point, make = best
    wanted = (
        [i for i in columns if i < len(make)] if columns else [i for i, k in enumerate(make) if k in "ncds"]
    )
    if first_line is None:
        first_line = _first_row(lines, mark, point, make, wanted)
    return Table(mark, point, _late_columns(lines[first_line:], mark, point, make), first_line)


def _first_row(lines: Sequence[str], mark: str, point: str, make: str, wanted: Sequence[int]) -> int:
    """Line from which rows of the table follow each other."""
    filled = [i for i, line in enumerate(lines) if line.strip()]
    fits: dict[int, bool] = {}
    for place, i in enumerate(filled):
        steady = filled[place : place + _STEADY]
        for j in steady:
            if j not in fits:
                fits[j] = _fits(cell_kinds(cut_line(lines[j], mark), point), make, wanted)
        if all(fits[j] for j in steady):
            return i
    return next((i for i in filled if fits[i]), len(lines))


def _late_columns(lines: Sequence[str], mark: str, point: str, make: str) -> str:
    """Kinds of the columns, with those that hold numbers at first and end before the tail of the head."""
    if "." not in make:
        return make
    rows = [cell_kinds(cut_line(line, mark), point) for line in lines]
    kinds = list(make)
    for i, kind in enumerate(make):
        if kind == ".":
            seen = {row[i] for row in rows if i < len(row)} - {"."}
            kinds[i] = "n" if seen == {"n"} else "x" if seen else "."
    return "".join(kinds)
