"""Tables of any length read piece by piece, in bounded memory, compressed or not."""

from __future__ import annotations

import codecs
import gzip
import math
import re
import zlib
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import IO, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.errors import RecordingError
from quintain.readers.cells import MISSING, cell_kinds, cut_line, number
from quintain.readers.columns_table import Table
from quintain.readers.fingerprint import Fingerprint

__all__ = ["Rows", "TableFile", "all_finite", "open_bytes"]

_PIECE = 1 << 22
"""Bytes read at a time: large enough for all cores, small beside any machine's memory."""
_AHEAD = 2
"""Pieces that are taken apart while one is looked at: alone, each would leave a gap before the next."""
_LONGEST_LINE = 1 << 20
_LINE_END = 10
_BOMB_RATIO = 300
"""Text of numbers shrinks 3 to 30 times, constant text 1000 times; beyond this a gzip file is refused."""
_RAW = re.compile(r"utf-8(-sig)?|ascii|iso8859-\d+|cp125\d|cp(437|850|852|858)|mac-.*|koi8.*")
"""Encodings in which digits, separators and line ends are the bytes of ASCII and nothing else is."""


class Rows(NamedTuple):
    """Some rows of a table: line of the first one, counted from 0, and an array for each column asked for."""

    first_line: int
    columns: list[NDArray[np.float64]]


def all_finite(values: NDArray[np.float64]) -> bool:
    """Whether no value is NaN or infinite, without an array of answers."""
    with np.errstate(over="ignore", invalid="ignore"):
        return math.isfinite(float(values.sum()))


def open_bytes(path: str, *, compressed: bool) -> IO[bytes]:
    """Open a file for reading bytes, through gzip where it is compressed."""
    return gzip.open(path, "rb") if compressed else open(path, "rb")  # type: ignore[return-value]


@dataclass(frozen=True, slots=True)
class TableFile:
    """A table in a text file: which file, how it is encoded, and how the table is made."""

    fingerprint: Fingerprint
    table: Table
    encoding: str
    compressed: bool
    quoted: bool
    epoch: int = 0
    """Seconds since 1970 from which dates are counted: near the recording, lest digits are lost."""

    def rows(self, columns: Sequence[int], *, piece: int = _PIECE) -> Iterator[Rows]:
        """
        Read columns of the table from its first row to its last.

        Parameters
        ----------
        columns : sequence of int
            Columns, counted from 0. Dates come as seconds since ``epoch``, times of day as seconds since
            midnight, numbers as they stand; what is missing is NaN.
        piece : int
            Bytes to read at a time.

        Yields
        ------
        Rows
            Consecutive rows.

        Raises
        ------
        RecordingError
            If a cell is no number, a row has too many cells, the file changes or breaks off, or its
            compression hides much more than a recording.
        """
        self.fingerprint.check_unchanged()
        with ThreadPoolExecutor(_AHEAD) as ahead:
            waiting: deque[Future[Rows]] = deque()
            for first_line, text in self._pieces(piece):
                waiting.append(ahead.submit(self._parse, text, first_line, columns))
                if len(waiting) > _AHEAD:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        self.fingerprint.check_unchanged()

    def _bytes(self, piece: int) -> Iterator[bytes]:
        """Pieces of the text, ASCII-like whatever the file's encoding is."""
        where = self.fingerprint.path
        total = 0
        decode = None
        if not _RAW.fullmatch(self.encoding):
            decode = codecs.getincrementaldecoder(self.encoding)("replace").decode
        try:
            with open_bytes(str(where), compressed=self.compressed) as file:
                while text := file.read(piece):
                    total += len(text)
                    if self.compressed and total > max(64 << 20, _BOMB_RATIO * self.fingerprint.n_bytes):
                        raise RecordingError(
                            f"{where}: the compressed file unpacks to more than {_BOMB_RATIO} times its "
                            "size, which no "
                            "recording does. Unpack it yourself if you trust it."
                        )
                    yield decode(text).encode("utf-8") if decode else text
        except (EOFError, zlib.error, gzip.BadGzipFile) as error:
            raise RecordingError(
                f"{where}: the compressed file is damaged ({error}). Copy it again."
            ) from None
        except UnicodeError as error:
            raise RecordingError(f"{where}: the text is not {self.encoding} ({error}).") from None
        except OSError as error:
            self.fingerprint.check_unchanged()
            raise RecordingError(
                f"{where}: the file cannot be read ({error.strerror}). Read it again."
            ) from None

    def _pieces(self, piece: int) -> Iterator[tuple[int, bytes]]:
        """Pieces of whole lines from the first row on, each with the number of its first line."""
        where = self.fingerprint.path
        line, skip, rest = 0, self.table.first_line, b""
        source = self._bytes(piece)
        carriage = None
        for text in source:
            if carriage is None:
                carriage = b"\n" not in text and b"\r" in text
                text = text.removeprefix(codecs.BOM_UTF8)
            if carriage:
                text = text.replace(b"\r", b"\n")
            cut = text.rfind(b"\n") + 1
            if not cut:
                rest += text
                if len(rest) > _LONGEST_LINE:
                    raise RecordingError(
                        f"{where}: row {line + 1} is longer than {_LONGEST_LINE} characters. This is no "
                        "table of "
                        "numbers, or its line ends are lost; export it again."
                    )
                continue
            whole, rest = (rest + text[:cut] if rest else text[:cut]), text[cut:]
            if skip:
                begin = 0
                while skip and (end := whole.find(b"\n", begin)) >= 0:
                    begin, skip, line = end + 1, skip - 1, line + 1
                whole = whole[begin:]
            if whole and not skip:
                # Counting matches of an array is several times faster than bytes.count.
                n = int(np.count_nonzero(np.frombuffer(whole, np.uint8) == _LINE_END))
                if self.table.end_line is not None and line + n >= self.table.end_line:
                    kept = whole.split(b"\n", self.table.end_line - line)[: self.table.end_line - line]
                    if kept:
                        yield line, b"\n".join(kept) + b"\n"
                    return
                yield line, whole
                line += n
        if rest and not skip:
            yield line, rest + b"\n"

    def _parse(self, text: bytes, first_line: int, columns: Sequence[int]) -> Rows:
        """Numbers of a piece; what the fast way cannot read is read line by line, with its row named."""
        fast = self._parse_fast(text, columns)
        return Rows(first_line, self._parse_lines(text, first_line, columns) if fast is None else fast)

    def _parse_fast(self, text: bytes, columns: Sequence[int]) -> list[NDArray[np.float64]] | None:
        import pyarrow as pa
        from pyarrow import csv

        mark = self.table.separator
        if mark == " ":
            text = re.sub(rb"[ \t]+", b" ", text)
            text = re.sub(rb"^ | (?=\r?$)", b"", text, flags=re.MULTILINE)
        if b"+" in text:
            for before in (b"\n", mark.encode()):
                text = text.replace(before + b"+", before)
        kinds = self.table.kinds
        unique = list(dict.fromkeys(columns))
        text = text.lstrip(b"\r\n")
        if not text:
            return [np.empty(0) for _ in columns]
        # Programs leave out empty cells at the end of a row.
        width = min(len(kinds), len(cut_line(text[: text.find(b"\n")].decode("latin-1"), mark)))
        if max(unique) >= width:
            return None
        names = [str(i) for i in range(width)]
        types = {str(i): pa.float64() if kinds[i] == "n" else pa.string() for i in unique}
        try:
            table = csv.read_csv(
                pa.BufferReader(text),
                read_options=csv.ReadOptions(column_names=names, block_size=max(1 << 18, len(text) // 4)),
                parse_options=csv.ParseOptions(delimiter=mark, quote_char='"' if self.quoted else False),
                convert_options=csv.ConvertOptions(
                    column_types=types,
                    include_columns=list(types),
                    null_values=sorted(MISSING),
                    strings_can_be_null=True,
                    decimal_point=self.table.decimal,
                ),
            )
        except (pa.ArrowInvalid, pa.ArrowKeyError):
            return None
        found = {}
        for i in unique:
            column = table.column(str(i))
            if kinds[i] == "n":
                values = column.to_numpy()
                found[i] = values if all_finite(values) else np.where(np.isfinite(values), values, np.nan)
            else:
                seconds = _seconds(column.combine_chunks(), kinds[i], self.epoch)
                if seconds is None:
                    return None
                found[i] = seconds
        return [found[i] for i in columns]

    def _parse_lines(self, text: bytes, first_line: int, columns: Sequence[int]) -> list[NDArray[np.float64]]:
        import pyarrow as pa

        where = self.fingerprint.path
        mark, point, kinds = self.table.separator, self.table.decimal, self.table.kinds
        found: list[list[float | str | None]] = [[] for _ in columns]
        encoding = self.encoding if _RAW.fullmatch(self.encoding) else "utf-8"
        for i, line in enumerate(text.decode(encoding, "replace").split("\n")):
            line = line.rstrip("\r\x1a")
            if not line.strip() and mark not in line.replace(" ", ""):
                continue
            cells = cut_line(line, mark)
            row = first_line + i + 1
            if len(cells) > len(kinds) and any(cell not in MISSING for cell in cells[len(kinds) :]):
                raise RecordingError(
                    f"{where}: row {row} has {len(cells)} cells where {len(kinds)} are expected. Correct "
                    "the row, or "
                    "state separator and decimal."
                )
            for j, values in zip(columns, found, strict=True):
                cell = cells[j] if j < len(cells) else ""
                if cell in MISSING:
                    values.append(None)
                elif kinds[j] == "n":
                    try:
                        values.append(number(cell, point))
                    except ValueError:
                        raise RecordingError(
                            f"{where}: row {row}, column {j + 1} holds {cell[:30]!r} where a number is "
                            "expected (decimal "
                            f"mark {point!r}). Correct or delete the row."
                        ) from None
                elif cell_kinds([cell], point) == kinds[j]:
                    values.append(cell)
                else:
                    raise RecordingError(
                        f"{where}: row {row}, column {j + 1} holds {cell[:30]!r} where a time is "
                        "expected. Correct or "
                        "delete the row."
                    )
        arrays = []
        for j, values in zip(columns, found, strict=True):
            if kinds[j] == "n":
                arrays.append(np.array(values, dtype=np.float64))
                continue
            seconds = _seconds(pa.array(values, pa.string()), kinds[j], self.epoch)
            if seconds is None:
                raise RecordingError(
                    f"{where}: a time stamp between rows {first_line + 1} and {first_line + len(values)} "
                    "is no time of "
                    "the calendar. Correct it."
                )
            arrays.append(seconds)
        return arrays


def _seconds(stamps: object, kind: str, epoch: int) -> NDArray[np.float64] | None:
    """Seconds since the epoch, or since midnight for times of day; None if a stamp does not exist."""
    import pyarrow as pa
    import pyarrow.compute as pc

    text = pc.replace_substring_regex(stamps, r"(Z|[+-]\d\d:?\d\d)$", "") if kind == "s" else stamps
    text = pc.replace_substring(text, ",", ".")
    if kind == "c":
        text = pc.replace_substring_regex(text, r"^(\d):", r"0\1:")
        text = pc.binary_join_element_wise("1970-01-01", text, " ")
    else:
        text = pc.replace_substring(text, "/", "-")
        text = pc.replace_substring_regex(text, r"^(\d)\.", r"0\1.")
        text = pc.replace_substring_regex(text, r"^(\d\d)\.(\d)\.", r"\1.0\2.")
        text = pc.replace_substring_regex(text, r"^(\d\d)\.(\d\d)\.(\d{4})", r"\3-\2-\1")
    # More than nine decimals say less than a nanosecond.
    text = pc.replace_substring_regex(text, r"(\.\d{9})\d+$", r"\1")
    try:
        nanoseconds = pc.cast(pc.cast(text, pa.timestamp("ns")), pa.int64())
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        return None
    valid = np.asarray(pc.is_valid(nanoseconds))
    whole = np.asarray(pc.fill_null(nanoseconds, 0))
    if kind != "c":
        whole = whole - epoch * 1_000_000_000
    seconds = whole // 1_000_000_000 + (whole % 1_000_000_000) / 1e9
    return np.where(valid, seconds, np.nan)
