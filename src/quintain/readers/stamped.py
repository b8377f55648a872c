"""Samples with time stamps cut into blocks without a break, and the rate that the stamps tell."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from quintain.domain.trace import Block
from quintain.errors import RecordingError
from quintain.readers.columns_stream import all_finite
from quintain.readers.columns_time import (
    IRREGULAR,
    RATE_TOLERANCE,
    Break,
    find_breaks,
    fit_interval,
    simplest_rate,
    tidy,
)
from quintain.readers.fingerprint import Fingerprint
from quintain.readers.raw_samples import finite_or_missing
from quintain.readers.units import Unit

__all__ = ["Piece", "PieceSamples", "follow_stamps", "hold_back_missing", "rate_of_stamps", "scaled"]

_HALF_DAY = 43_200.0

Piece = tuple[NDArray[np.float64], NDArray[np.float64] | None, int]
"""Consecutive samples, their stamps [s] if there are any, and the row of the first one, from 1."""


@dataclass(frozen=True, slots=True)
class PieceSamples:
    """
    Samples that a library hands over in pieces.

    Parameters
    ----------
    fingerprint : Fingerprint
        The file.
    fetch : callable
        Gives the pieces from the beginning, numbers in the unit of the file.
    unit : Unit
        Unit of the numbers.
    rate : float
        Sampling rate. [Hz]
    start : float
        Time of the first sample where there are no stamps. [s]
    ragged : bool
        Whether missing samples at the end mean that the channel is shorter than the others.
    """

    fingerprint: Fingerprint
    fetch: Callable[[], Iterable[Piece]]
    unit: Unit
    rate: float
    start: float = 0.0
    ragged: bool = False

    def blocks(self) -> Iterator[Block]:
        """
        Yield the samples in SI units; a block never spans a break in time.

        Raises
        ------
        RecordingError
            If the file is damaged or changes while it is read, or its rate changes.
        """
        where = str(self.fingerprint.path)
        self.fingerprint.check_unchanged()
        pieces = ((scaled(samples, self.unit), stamps, row) for samples, stamps, row in self.fetch())
        blocks = follow_stamps(pieces, self.rate, where=where, start=self.start)
        yield from hold_back_missing(blocks, self.rate) if self.ragged else blocks
        self.fingerprint.check_unchanged()


def scaled(numbers: NDArray[np.float64], unit: Unit) -> NDArray[np.float64]:
    """Numbers of a file in the SI unit; infinite ones are NaN."""
    if unit.factor != 1.0:
        with np.errstate(over="ignore"):
            numbers = numbers * unit.factor
    numbers = finite_or_missing(numbers)
    return numbers + unit.offset if unit.offset else numbers


def follow_stamps(
    pieces: Iterable[Piece], rate: float, *, where: str, start: float = 0.0, of_day: bool = False
) -> Iterator[Block]:
    """
    Cut samples into blocks at the breaks of their time.

    Parameters
    ----------
    pieces : iterable of (samples, stamps, row)
        Samples in SI units, their stamps [s] or None, and the row of the first one for messages.
    rate : float
        Sampling rate. [Hz]
    where : str
        File, for messages.
    start : float
        Time of the first sample where there are no stamps. [s]
    of_day : bool
        Whether stamps are times of day, which go on after midnight.

    Yields
    ------
    Block
        Stretches without a break. The start of each is the mean of its stamps carried back to its first
        sample, so rounding of single stamps averages out.

    Raises
    ------
    RecordingError
        If time advances at another rate than ``rate`` for long.
    """
    dt = 1 / rate
    first, last, day = 0, None, 0.0
    for samples, t, row in pieces:
        if not samples.size:
            continue
        if t is None:
            yield Block(first, start + first * dt, samples)
            first += samples.size
            continue
        if of_day:
            t, day = _past_midnight(t, last, day)
        t = _fill(t, last, dt)
        breaks, quantum = find_breaks(t, dt, last)
        _check_pace(t, breaks, quantum, rate, row, where)
        if not breaks or breaks[0].i > 0:
            breaks.insert(0, Break(0, ""))
        ends = [b.i for b in breaks[1:]] + [samples.size]
        for (begin, join), end in zip(breaks, ends, strict=True):
            at = float(t[begin:end].mean()) - 0.5 * (end - begin - 1) * dt
            at = float(t[begin]) if abs(at - t[begin]) < 1e-3 * dt else at
            yield Block(first + begin, at, samples[begin:end], join)
        first += samples.size
        last = float(t[-1])


def _check_pace(
    t: NDArray[np.float64], breaks: list[Break], quantum: float, rate: float, row: int, where: str
) -> None:
    """Refuse stamps whose rate is no longer the one found at the beginning."""
    dt = 1 / rate
    if len(breaks) > IRREGULAR * t.size and t.size > 100:
        raise RecordingError(
            f"{where}: from row {row} on, {100 * len(breaks) / t.size:.0f} % of the steps of time do not "
            "fit the "
            f"sampling rate of {rate:g} Hz. Split the file where the rate changes."
        )
    for begin, end in pairwise([0, *[b.i for b in breaks], t.size]):
        n = end - begin - 1
        span = t[end - 1] - t[begin] if n > 0 else 0.0
        if n > 0 and abs(span - n * dt) > dt + quantum + 2 * RATE_TOLERANCE * n * dt:
            now = f"{n / span:.6g} Hz" if span > 0 else "no rate at all"
            raise RecordingError(
                f"{where}: after row {row + begin} the time column advances at {now}, but the first rows at "
                f"{rate:g} Hz. Split the file where the rate changes."
            )


def hold_back_missing(blocks: Iterable[Block], rate: float) -> Iterator[Block]:
    """
    Drop the missing samples at the end of a channel that is shorter than the others.

    Parameters
    ----------
    blocks : iterable of Block
        Blocks of a channel, with NaN where cells are empty.
    rate : float
        Sampling rate. [Hz]

    Yields
    ------
    Block
        The same without the NaN after the last sample; those between samples stay.
    """
    held: list[tuple[int, float, int, str]] = []
    for block in blocks:
        size = n = block.samples.size
        if not np.isfinite(block.samples[-1]):
            finite = np.flatnonzero(np.isfinite(block.samples))
            n = int(finite[-1]) + 1 if finite.size else 0
        if n:
            for first, start, missing, join in held:
                yield Block(first, start, np.full(missing, np.nan), join)
            held = []
            yield block if n == size else block._replace(samples=block.samples[:n])
        if n < size:
            held.append((block.first + n, block.start + n / rate, size - n, "" if n else block.join))


def rate_of_stamps(
    stamps: NDArray[np.float64],
    *,
    stated: float | None,
    given: float | None,
    name: str,
    where: str,
    notes: list[str],
) -> float:
    """
    Agree on a sampling rate between the first stamps, the file's words and the user's.

    Parameters
    ----------
    stamps : ndarray, shape (n,)
        First stamps; NaN where missing. [s]
    stated : float or None
        Interval that the file states. [s]
    given : float or None
        Rate that the user states. [Hz]
    name : str
        Name of the time column.
    where : str
        File, for messages.
    notes : list of str
        Gets what was concluded.

    Returns
    -------
    float
        Sampling rate. [Hz]

    Raises
    ------
    RecordingError
        If the stamps do not advance or are uneven, or contradict what the user states.
    """
    interval = fit_interval(stamps)
    known = int(np.count_nonzero(np.isfinite(stamps)))
    expected = 1 / given if given is not None else stated
    if interval is None:
        if expected is None or known > 1:
            raise RecordingError(
                f"{where}: time column {name!r} has {known} stamps that do not advance, so the sampling "
                "rate cannot "
                "be told. State rate in Hz and leave the time column out."
            )
        return tidy(1 / expected)
    if interval.irregular > IRREGULAR and stamps.size > 10:
        raise RecordingError(
            f"{where}: {100 * interval.irregular:.0f} % of the first steps of time column {name!r} differ "
            "from "
            f"{interval.value:.4g} s by more than half, so the recording is not evenly sampled. Export it "
            "evenly, "
            "or leave the time column out and state rate."
        )
    if expected is not None:
        if abs(interval.value / expected - 1) <= RATE_TOLERANCE + interval.u / expected:
            notes.append(f"time column {name!r} agrees with the stated sampling rate")
            return tidy(1 / expected)
        if given is not None:
            raise RecordingError(
                f"{where}: rate is given as {given:g} Hz, but time column {name!r} advances at "
                f"{1 / interval.value:.6g} Hz. Leave rate out, or state the unit of the time column."
            )
        notes.append(
            f"the header states {1 / expected:.6g} Hz, but time column {name!r} advances at "
            f"{1 / interval.value:.6g} Hz; the time column is followed"
        )
    return simplest_rate(interval)


def _fill(t: NDArray[np.float64], last: float | None, dt: float) -> NDArray[np.float64]:
    """Stamps with missing ones carried on from the one before."""
    if all_finite(t):
        return t
    finite = np.flatnonzero(np.isfinite(t))
    i = np.arange(t.size)
    if last is None:
        last = float(t[finite[0]] - dt * (finite[0] + 1)) if finite.size else -dt
    before = np.full(t.size, -1)
    before[finite] = finite
    before = np.maximum.accumulate(before)
    filled: NDArray[np.float64] = np.where(before >= 0, t[np.maximum(before, 0)], last) + (i - before) * dt
    return filled


def _past_midnight(
    t: NDArray[np.float64], last: float | None, day: float
) -> tuple[NDArray[np.float64], float]:
    """Times of day that go on counting after midnight."""
    previous = np.concatenate([[t[0] if last is None else last - day], t[:-1]])
    with np.errstate(invalid="ignore"):
        nights = np.cumsum(t - previous < -_HALF_DAY)
    return t + 86_400.0 * nights + day, day + 86_400.0 * float(nights[-1])
