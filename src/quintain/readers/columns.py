"""Reader of delimited text: any separator, decimal mark, encoding, header, units and time column."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from quintain.domain.recording import Recording
from quintain.domain.trace import Block
from quintain.errors import QuintainError, RecordingError, UnitError, UsageError
from quintain.readers.columns_layout import Clock, Layout, find_layout
from quintain.readers.columns_stream import TableFile
from quintain.readers.columns_table import decode_head, find_encoding
from quintain.readers.columns_time import RATE_TOLERANCE, fit_interval, tidy
from quintain.readers.fingerprint import take_fingerprint
from quintain.readers.reader import Reader
from quintain.readers.stamped import Piece, follow_stamps, hold_back_missing, rate_of_stamps, scaled
from quintain.readers.traces import make_trace, unit_notes
from quintain.readers.units import Unit

__all__ = ["READER", "ColumnSamples", "Pace", "read_columns", "recognises"]

_FIRST_ROWS = 1 << 19
"""Bytes of rows from which the sampling rate is found."""


def recognises(head: bytes) -> bool:
    """Whether the first bytes are text that holds a digit."""
    try:
        if head.startswith(b"\x1f\x8b"):
            return True
        text = decode_head(head, find_encoding(head, None, ""), "")
    except (QuintainError, IndexError):
        return False
    return any(character in "0123456789" for character in text) or len(head) < 4096


def read_columns(
    path: str | os.PathLike[str],
    *,
    columns: str | None = None,
    rate: float | None = None,
    units: str | Mapping[str, str] | None = None,
    encoding: str | None = None,
    separator: str | None = None,
    decimal: str | None = None,
    first_row: int | None = None,
) -> Recording:
    """
    Read a recording from delimited text, plain or gzip.

    Only the head of the file is read here; samples are read when a trace is asked for its blocks, in pieces
    of bounded size.

    Parameters
    ----------
    path : str or path-like
        The file.
    columns : str, optional
        Which column is what: ``'time=1[ms],force=2[kN]'``, columns counted from 1 or by label. Left out,
        names and units come from the file's header.
    rate : float, optional
        Sampling rate; needed where the file has neither a time column nor a stated rate. [Hz]
    units : str or mapping, optional
        Unit of channels that state none (``'N'``), or units by channel (``'acc=g,force=kN'``), which
        go before what the file states.
    encoding : str, optional
        Name of the text's encoding; found from its first bytes if left out.
    separator, decimal : str, optional
        Column separator (a blank stands for any run of blanks) and decimal mark; found if left out.
    first_row : int, optional
        Line of the first samples, counted from 1; found if left out.

    Returns
    -------
    Recording
        One trace a channel, in SI units. A channel whose unit is not stated is listed, but reading it
        raises a UnitError. A channel whose cells stay empty to the end of the file ends there.

    Raises
    ------
    RecordingError
        If the file cannot be read or is no table, or its times contradict a stated rate.
    ChannelError
        If columns have no names and none were given, or a column asked for is not there.
    UnitError
        If the unit of a time column is missing, or a unit given is not known.
    UsageError
        If a setting makes no sense.
    """
    if rate is not None and not (np.isfinite(rate) and rate > 0):
        raise UsageError(f"{path}: rate must be above 0 Hz, got {rate}.")
    layout = find_layout(
        take_fingerprint(path),
        columns=columns,
        units=units,
        encoding=encoding,
        separator=separator,
        decimal=decimal,
        first_row=first_row,
    )
    dated = [clock for clock in layout.clocks if clock.kinds in ("s", "d", "dc")]
    if dated:
        first = _first_stamps(layout.file, dated[0])
        epoch = int(first[np.isfinite(first)][:1].sum())
        layout = replace(layout, file=replace(layout.file, epoch=epoch - epoch % 86_400))
    notes: list[str] = []
    started = layout.started
    paces = []
    for clock in layout.clocks:
        pace, origin = _find_pace(layout, clock, rate, notes)
        paces.append(pace)
        if origin is not None:
            started = origin
    if not layout.clocks:
        paces = [Pace(_rate_without_clock(layout, rate, notes), 1.0, 0.0)]
    where = str(layout.file.fingerprint.path)
    traces = []
    for channel in layout.channels:
        pace = paces[channel.clock or 0]
        clock_or_none = layout.clocks[channel.clock] if channel.clock is not None else None
        source = ColumnSamples(layout.file, channel.index, channel.name, channel.unit, pace, clock_or_none)
        traces.append(make_trace(channel.name, channel.unit, pace.rate, source, where=where))
    notes += unit_notes(tuple(traces))
    found = layout.file.fingerprint
    return Recording(
        str(found.path),
        found.digest,
        found.n_bytes,
        tuple(traces),
        layout.header,
        started,
        "columns",
        tuple(notes),
    )


@dataclass(frozen=True, slots=True)
class Pace:
    """Rate [Hz] of a clock, the factor that turns its numbers into seconds, and its zero [s]."""

    rate: float
    factor: float
    zero: float


def _rate_without_clock(layout: Layout, rate: float | None, notes: list[str]) -> float:
    where = layout.file.fingerprint.path
    if rate is None and layout.interval is None:
        raise RecordingError(
            f"{where}: there is no time column and no sampling rate in the header. State rate in Hz, or "
            "name the time "
            "column with columns='time=1[s],...'."
        )
    if rate is None:
        assert layout.interval is not None
        notes.append("sampling rate from the header; the file has no time column")
        return tidy(1 / layout.interval)
    if layout.interval is not None and abs(rate * layout.interval - 1) > RATE_TOLERANCE:
        raise RecordingError(
            f"{where}: the header states {1 / layout.interval:.6g} Hz, but rate is given as {rate:g} Hz. "
            "Leave rate out "
            "or correct it."
        )
    notes.append("sampling rate as given; the file has no time column")
    return float(rate)


def _find_pace(
    layout: Layout, clock: Clock, rate: float | None, notes: list[str]
) -> tuple[Pace, datetime | None]:
    """Sampling rate behind a clock, from its first stamps and from what file and user state."""
    where = str(layout.file.fingerprint.path)
    stamps = _first_stamps(layout.file, clock)
    known = stamps[np.isfinite(stamps)]
    if known.size == 0:
        raise RecordingError(
            f"{where}: time column {clock.name!r} is empty in the first rows. State rate and columns."
        )
    origin, zero = None, 0.0
    if clock.kinds != "n":
        zero = float(known[0])
        if clock.kinds in ("s", "dc"):
            origin = datetime(1970, 1, 1) + timedelta(seconds=layout.file.epoch) + timedelta(seconds=zero)
        stamps = stamps - zero
    stated = 1 / rate if rate is not None else layout.interval
    if clock.row:
        if stated is None:
            raise RecordingError(
                f"{where}: column {clock.name!r} counts samples, and no sampling rate is stated. State "
                "rate in Hz."
            )
        step = fit_interval(stamps)
        every = max(1.0, round(step.value)) if step is not None else 1.0
        return Pace(tidy(1 / stated), stated / every, zero), origin
    factor = clock.factor
    if factor is None:
        step = fit_interval(stamps)
        factor = _factor_from_rate(step.value if step else 0.0, stated, clock, where)
    if rate is None and clock.columns != layout.clocks[0].columns:
        stated = None
    found = rate_of_stamps(
        stamps * factor, stated=stated, given=rate, name=clock.name, where=where, notes=notes
    )
    return Pace(found, factor, zero), origin


def _factor_from_rate(step: float, stated: float | None, clock: Clock, where: str) -> float:
    """Unit of a time column that states none, where a stated rate leaves only one that fits."""
    for factor in (1.0, 1e-3, 1e-6, 1e-9, 60.0):
        if stated is not None and abs(step * factor / stated - 1) <= 0.01:
            return factor
    raise UnitError(
        f"{where}: time column {clock.name!r} states no unit. State it with units='{clock.name}=s' (or "
        "ms, us, min)."
    )


def _first_stamps(file: TableFile, clock: Clock) -> NDArray[np.float64]:
    for rows in file.rows(clock.columns, piece=_FIRST_ROWS):
        stamps = _stamps(rows.columns, clock)
        if stamps.size > 1:
            return stamps
    return stamps


def _stamps(columns: list[NDArray[np.float64]], clock: Clock) -> NDArray[np.float64]:
    """Stamps of a clock in its own unit; date and time of day are joined."""
    return columns[0] + columns[1] if clock.kinds == "dc" else columns[0]


@dataclass(frozen=True, slots=True)
class ColumnSamples:
    """Samples of one column of a text file, read anew at each call of :meth:`blocks`."""

    file: TableFile
    index: int
    name: str
    unit: Unit
    pace: Pace
    clock: Clock | None
    start: float = 0.0
    """Time of the first sample where there is no clock. [s]"""

    def blocks(self) -> Iterator[Block]:
        """
        Yield the samples in SI units; a block never spans a break in time.

        Raises
        ------
        RecordingError
            If a row is damaged, the rate changes, or the file changes while it is read.
        """
        where = str(self.file.fingerprint.path)
        of_day = self.clock is not None and self.clock.kinds == "c"
        blocks = follow_stamps(self._pieces(), self.pace.rate, where=where, start=self.start, of_day=of_day)
        yield from hold_back_missing(blocks, self.pace.rate)

    def _pieces(self) -> Iterator[Piece]:
        clock_columns = self.clock.columns if self.clock else ()
        for rows in self.file.rows([self.index, *clock_columns]):
            samples = scaled(rows.columns[0], self.unit)
            if self.clock is None:
                yield samples, None, rows.first_line + 1
                continue
            t = _stamps(rows.columns[1:], self.clock)
            t = t - self.pace.zero if self.pace.zero else t
            t = t * self.pace.factor if self.pace.factor != 1.0 else t
            yield samples, t, rows.first_line + 1


READER = Reader(
    "columns",
    (".csv", ".txt", ".tsv", ".dat", ".asc", ".csv.gz"),
    recognises,
    read_columns,
    "delimited text of any make, plain or gzip",
    calibrations="none",
)
