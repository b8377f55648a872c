"""Reader of LVM text files: segments, one, many or no time columns, comments, decimal comma."""

from __future__ import annotations

import mmap
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from quintain.domain.recording import Recording
from quintain.domain.trace import Block
from quintain.errors import RecordingError
from quintain.readers.cells import cut_line, number
from quintain.readers.columns import ColumnSamples, Pace
from quintain.readers.columns_header import find_started
from quintain.readers.columns_layout import Clock
from quintain.readers.columns_stream import TableFile
from quintain.readers.columns_table import Table, decode_head, find_encoding
from quintain.readers.columns_time import RATE_TOLERANCE, Interval, fit_interval, nearest_short, simplest_rate
from quintain.readers.fingerprint import Fingerprint, take_fingerprint
from quintain.readers.raw_samples import open_again
from quintain.readers.reader import Reader
from quintain.readers.traces import make_trace, unit_notes
from quintain.readers.units import parse_units, split_unit

__all__ = ["READER", "read_lvm", "recognises"]

_MARK = b"***End_of_Header***"
_HEADER = 1 << 20
"""Longest header. [byte]"""


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of an LVM file with its header."""
    return head.removeprefix(b"\xef\xbb\xbf").startswith(b"LabVIEW Measurement")


def read_lvm(path: str | os.PathLike[str], *, units: str | Mapping[str, str] | None = None) -> Recording:
    """
    Read an LVM file.

    Parameters
    ----------
    path : str or path-like
        The file.
    units : str or mapping, optional
        Unit of channels that state none (``'N'``), or units by channel (``'acc=g,force=kN'``).

    Returns
    -------
    Recording
        One trace a channel, each with its own rate. Channels without samples are left out and noted.
        Where segments follow each other, the trace is broken by a gap.

    Raises
    ------
    RecordingError
        If the header is damaged, or time is not evenly sampled.
    ChannelError, UnitError
        If a unit is given for a channel that is not there, or is not known.

    Notes
    -----
    Written from the public description of the format (National Instruments, 'Specification for the
    LabVIEW Measurement File', 2013). A header gives each channel's interval as ``Delta_X``, often with
    few digits; where a time column exists, it decides.
    """
    found = take_fingerprint(path)
    where = str(found.path)
    segments = _find_segments(found)
    head = segments[0]
    given = parse_units(units)
    names = [head.names[i] for i in head.channels]
    given.check_names(names, where)
    notes, traces = [], []
    if len(segments) > 1:
        notes.append(f"{len(segments)} segments follow each other; the time between them is not told")
    for i in head.channels:
        name = head.names[i]
        if head.samples(i) == 0:
            notes.append(f"channel {name!r} holds no samples")
            continue
        rate, clock, note = _pace(head, i)
        notes += [note] if note else []
        unit = given.choose(name, head.units(i), where)
        start = head.value("X0", i) or 0.0
        parts = tuple(
            ColumnSamples(segment.file, i, name, unit, Pace(rate, 1.0, 0.0), clock, start)
            for segment in segments
        )
        every = head.samples(i) if len(segments) == 1 and clock is None else None
        traces.append(make_trace(name, unit, rate, _Segments(parts, every or 0), where=where))
    if not traces:
        raise RecordingError(f"{where}: all channels are empty. Record again.")
    notes += unit_notes(tuple(traces))
    header = "\n".join(segment.header for segment in segments)
    return Recording(
        where,
        found.digest,
        found.n_bytes,
        tuple(traces),
        header,
        head.started,
        READER.name,
        tuple(dict.fromkeys(notes)),
    )


@dataclass(frozen=True, slots=True)
class _Segment:
    """A segment: its header by line name, names of its columns, and the table below."""

    file: TableFile
    entries: dict[str, list[str]]
    names: list[str]
    header: str

    @property
    def channels(self) -> list[int]:
        """Columns of the channels."""
        return [
            i for i, kind in enumerate(self.file.table.kinds) if kind == "n" and self.names[i] != "X_Value"
        ]

    @property
    def started(self) -> datetime | None:
        """Date and time of the segment's header."""
        cells = [
            (self.entries.get(key) or [""])[-1:] + self.entries.get(key, [""])[:1] for key in ("Date", "Time")
        ]
        return find_started([f"Date {cells[0][-1]}", f"Time {cells[1][-1]}"])

    def value(self, key: str, i: int) -> float | None:
        """Number in a header line that stands above column ``i``."""
        cells = self.entries.get(key, [])
        try:
            value = number(cells[i - 1], self.file.table.decimal) if 0 < i <= len(cells) else float("nan")
        except ValueError:
            return None
        return value if np.isfinite(value) else None

    def samples(self, i: int) -> int | None:
        """Number of samples that the header announces for column ``i``."""
        n = self.value("Samples", i)
        return None if n is None or not 0 <= n < 1e12 else int(n)

    def units(self, i: int) -> str:
        """Unit of column ``i`` as written, '' if none is."""
        cells = self.entries.get("Y_Unit_Label", [])
        return (cells[i - 1] if i <= len(cells) else "") or split_unit(self.names[i])[1]


def _find_segments(found: Fingerprint) -> list[_Segment]:
    """Headers and tables of the file, by the marks at which headers end."""
    where = str(found.path)
    with open_again(found) as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as whole:
        marks = []
        at = whole.find(_MARK)
        while at >= 0:
            marks.append(at)
            at = whole.find(_MARK, at + 1)
        if not marks:
            raise RecordingError(
                f"{where}: the header has no end ({_MARK.decode()}). Export the recording again."
            )
        encoding = find_encoding(whole[:4096], None, where)
        segments: list[_Segment] = []
        line, begin, rows_before, separator, decimal = 0, 0, 0, "\t", ""
        top: list[str] = []
        for k, mark in enumerate(marks):
            begin = whole.rfind(b"\nChannels", 0, mark) + 1 if segments else begin
            if k == 0 and b"\nChannels" not in whole[: mark + 1][:_HEADER] and len(marks) > 1:
                top = decode_head(whole[: min(mark, _HEADER)], encoding, where).splitlines()
                separator, decimal = _marks(top)
                continue
            names_at = whole.find(b"\n", mark) + 1
            rows_at = whole.find(b"\n", names_at) + 1
            if not names_at or not rows_at or rows_at - begin > _HEADER:
                raise RecordingError(f"{where}: the header of segment {len(segments) + 1} is cut short.")
            if segments:
                # The rows above end at this header, and at the blank line and notes before it.
                end = whole.rfind(b"\n\n", 0, begin) + 1 or begin
                end = end if begin - end < 4096 else begin
                previous = segments[-1].file
                table = replace(previous.table, end_line=line + _count(whole, rows_before, end))
                segments[-1] = replace(segments[-1], file=replace(previous, table=table))
                line += _count(whole, rows_before, rows_at)
            else:
                line = _count(whole, 0, rows_at)
            rows_before = rows_at
            text = decode_head(whole[begin:rows_at], encoding, where).splitlines()
            if not top:
                separator, decimal = _marks(text)
            first_row = decode_head(whole[rows_at : rows_at + 65_536], encoding, where).partition("\n")[0]
            segments.append(_segment(found, text, first_row, separator, decimal, encoding, line))
            begin = rows_at
    names = segments[0].names
    if any(segment.names != names for segment in segments):
        raise RecordingError(
            f"{where}: the segments have different channels. Split the file into one a segment."
        )
    if not segments[0].channels:
        raise RecordingError(f"{where}: no columns of numbers follow the header. Export the recording again.")
    return segments


def _count(whole: mmap.mmap, begin: int, end: int) -> int:
    """Line ends in a stretch of the file."""
    pieces = range(begin, end, 1 << 22)
    return sum(whole[a : min(a + (1 << 22), end)].count(b"\n") for a in pieces)


def _marks(lines: Sequence[str]) -> tuple[str, str]:
    """Separator and decimal mark that a header states ('' where it does not)."""
    separator, decimal = "\t", ""
    for line in lines:
        if line.startswith("Separator"):
            separator = "," if "comma" in line.lower() else "\t"
        elif line.startswith("Decimal_Separator"):
            decimal = line.removeprefix("Decimal_Separator")[1:2]
    return separator, decimal if decimal in (".", ",") else ""


def _segment(
    found: Fingerprint,
    lines: list[str],
    first_row: str,
    separator: str,
    decimal: str,
    encoding: str,
    line: int,
) -> _Segment:
    cut = [cut_line(text, separator) for text in lines]
    entries = {cells[0]: cells[1:] for cells in cut if cells and cells[0]}
    names = cut[-1]
    if not decimal:
        decimal = (
            "," if any("," in cell for key in ("X0", "Delta_X") for cell in entries.get(key, [])) else "."
        )
        decimal = "." if separator == "," else decimal
    width = max(len(names), len(cut_line(first_row.rstrip("\r"), separator)))
    names = names + [""] * (width - len(names))
    kinds = "".join("x" if name in ("Comment", "") else "n" for name in names)
    names = [
        f"{n} ({names[:i].count(n) + 1})" if n != "X_Value" and n in names[:i] else n
        for i, n in enumerate(names)
    ]
    table = Table(separator, decimal, kinds, line)
    return _Segment(TableFile(found, table, encoding, False, False), entries, names, "\n".join(lines))


def _pace(head: _Segment, i: int) -> tuple[float, Clock | None, str]:
    """Rate of a channel [Hz], its time column if there is one, and a note."""
    where = head.file.fingerprint.path
    step = head.value("Delta_X", i)
    if step is not None and step <= 0:
        step = None
    times = [k for k in range(i) if head.names[k] == "X_Value"]
    column = times[-1] if times else None
    steps = {head.value("Delta_X", k) for k in head.channels}
    # One time column for all holds for the first channel and those that share its interval.
    shared = column is not None and (
        len(times) > 1 or len(steps) == 1 or step == head.value("Delta_X", head.channels[0])
    )
    if column is not None and shared:
        stamps = next(head.file.rows([column], piece=1 << 19), None)
        interval = None if stamps is None else fit_interval(stamps.columns[0])
        if interval is not None and interval.value > 0:
            if interval.irregular > 0.1 and stamps is not None and stamps.columns[0].size > 5:
                raise RecordingError(
                    f"{where}: {100 * interval.irregular:.0f} % of the steps of X_Value differ from "
                    f"{interval.value:.4g} s "
                    "by more than half, so the recording is not evenly sampled. Log it evenly."
                )
            rate = simplest_rate(interval)
            if step is not None and abs(rate * step - 1) <= RATE_TOLERANCE + interval.u / step:
                rate = _rate_of(step, head.entries["Delta_X"][i - 1])
            return rate, Clock((column,), "X_Value", "n", 1.0), ""
    if step is None:
        raise RecordingError(
            f"{where}: channel {head.names[i]!r} has neither times nor an interval (Delta_X). Export it "
            "with one."
        )
    rate = _rate_of(step, head.entries["Delta_X"][i - 1])
    note = (
        ""
        if abs(rate * step - 1) < 1e-6
        else f"interval {step:g} s taken as {rate:g} Hz, within its printed digits"
    )
    return rate, None, note


def _rate_of(step: float, text: str) -> float:
    """Rate whose interval was printed with few digits: the shortest number that fits."""
    digits = text.lower().partition("e")
    decimals = len(digits[0].replace(",", ".").partition(".")[2])
    half = 0.5 * 10.0 ** (int(digits[2] or 0) - decimals)
    return nearest_short(Interval(step, half, 0.0))


@dataclass(frozen=True, slots=True)
class _Segments:
    """Segments one after the other; a run without times breaks after each ``every`` samples (0: never)."""

    parts: tuple[ColumnSamples, ...]
    every: int

    def blocks(self) -> Iterator[Block]:
        """Yield the samples of all segments; each but the first begins after a gap."""
        first = 0
        for k, part in enumerate(self.parts):
            base = first
            shift = first / part.pace.rate if k else 0.0
            for block in part.blocks():
                samples, done = block.samples, 0
                while done < samples.size:
                    at = block.first + done
                    n = samples.size - done
                    if self.every:
                        n = min(n, self.every - at % self.every)
                    new_run = bool(self.every) and at > 0 and at % self.every == 0
                    join = "gap" if new_run or (k and at == 0) else block.join if done == 0 else ""
                    start = block.start + done / part.pace.rate + shift
                    yield Block(base + at, start, samples[done : done + n], join)
                    done += n
                first = base + block.first + samples.size


READER = Reader(
    "lvm",
    (".lvm",),
    recognises,
    read_lvm,
    "LVM measurement text with header",
    calibrations="none",
)
