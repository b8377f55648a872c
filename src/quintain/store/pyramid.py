"""
A recording of any length at any zoom: least and greatest values over ever longer stretches, on disk.

Level 0 holds the samples as float32, each further level the least and greatest of 16 entries below.
Rounding to float32 keeps order, so the least of the rounded is the rounded least: no peak is ever lost or
moved to another stretch. The files are a cache: they may be deleted at any time and are made anew.
"""

from __future__ import annotations

import json
import secrets
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.domain.trace import Trace
from quintain.errors import LabError

__all__ = ["Pyramid", "View", "build_pyramid", "open_pyramid", "view"]

_FACTOR = 16
_PER_PIXEL = 4
"""Entries of a level that a pixel needs at least; its edges are then right to a quarter of it."""

_PIECE = _FACTOR * (1 << 16)
"""Entries worked on at a time, which bounds memory."""

_MOST_PIXELS = 8192
_FORMAT = 1

Floats = NDArray[np.float32]


class View(NamedTuple):
    """
    What is seen of a window.

    Parameters
    ----------
    start : float
        Time of the first sample, or the beginning of the first stretch. [s]
    step : float
        Time between samples, or the length of a stretch. [s]
    low, high : ndarray, shape (n,)
        Least and greatest value of each stretch; the same array where ``reduced`` is false. NaN where
        nothing was recorded.
    reduced : bool
        Whether each point stands for several samples.
    """

    start: float
    step: float
    low: Floats
    high: Floats
    reduced: bool


@dataclass(frozen=True, slots=True)
class Pyramid:
    """
    An open pyramid, its levels mapped into memory.

    ``first`` and ``start`` name the stretches without a break in time: index of the first sample, and its
    time on the recording's clock [s]. ``levels[0]`` has shape (n,), the others (n, 2).
    """

    rate: float
    first: NDArray[np.int64]
    start: NDArray[np.float64]
    levels: tuple[Floats, ...]

    @property
    def n_samples(self) -> int:
        """How many samples the recording has."""
        return int(self.levels[0].shape[0])

    @property
    def span(self) -> tuple[float, float]:
        """Earliest and latest time. [s]"""
        if not self.n_samples:
            return 0.0, 0.0
        ends = self.start + (np.append(self.first[1:], self.n_samples) - self.first) / self.rate
        return float(self.start.min()), float(ends.max())


def open_pyramid(folder: Path, key: str) -> Pyramid | None:
    """
    Open a pyramid that was built before.

    Returns
    -------
    Pyramid or None
        None where there is none, or it is damaged: build it then.
    """
    place = folder / key
    try:
        facts = json.loads((place / "facts.json").read_text(encoding="utf-8"))
        if facts["format"] != _FORMAT:
            return None
        levels = tuple(_mapped(place / f"{k}.f4", n, k > 0) for k, n in enumerate(facts["lengths"]))
        breaks = np.load(place / "breaks.npz")
        return Pyramid(float(facts["rate"]), breaks["first"], breaks["start"], levels)
    except (OSError, ValueError, KeyError):
        return None


def build_pyramid(
    trace: Trace, folder: Path, key: str, *, progress: Callable[[int], None] = lambda done: None
) -> Pyramid:
    """
    Open the pyramid of a trace, after building it where there is none.

    Parameters
    ----------
    trace : Trace
        Read once, block by block; memory is bounded by a block.
    folder : Path
        The lab's cache.
    key : str
        Name of the pyramid in it, such as the hash of the bytes and the channel's number.
    progress : callable
        Told how many samples were read; what it raises stops the work, and nothing is left.

    Raises
    ------
    LabError
        If the cache cannot be written.
    """
    known = open_pyramid(folder, key)
    if known is not None:
        return known
    if not key or not all(c.isalnum() or c in "-_" for c in key):
        raise ValueError(f"a key holds letters, digits, - and _ only, got {key!r}")
    fresh = folder / f"{key}.{secrets.token_hex(4)}.part"
    try:
        fresh.mkdir(parents=True)
        _write(trace, fresh, progress)
        place = folder / key
        if open_pyramid(folder, key) is None:  # else somebody else built the same meanwhile
            shutil.rmtree(place, ignore_errors=True)
            fresh.replace(place)
    except OSError as problem:
        raise LabError(f"{folder}: cannot write the cache for zooming: {problem.strerror}") from None
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    built = open_pyramid(folder, key)
    if built is None:
        raise LabError(f"{folder}: the cache for zooming was taken away while it was built; try again")
    return built


def _write(trace: Trace, place: Path, progress: Callable[[int], None]) -> None:
    first, start, n = [], [], 0
    expected: float | None = None
    with open(place / "0.f4", "wb") as file:
        for block in trace.blocks():
            # a file's own rounding of times is no break; blocks name theirs
            if block.join or expected is None or abs(block.start - expected) > 0.5 / trace.rate:
                first.append(n)
                start.append(block.start)
            file.write(np.ascontiguousarray(block.samples, dtype="<f4").data)
            n += block.samples.size
            expected = block.start + block.samples.size / trace.rate
            progress(n)
    lengths = [n]
    while lengths[-1] > _FACTOR:
        k = len(lengths)
        below = _mapped(place / f"{k - 1}.f4", lengths[-1], k > 1)
        with open(place / f"{k}.f4", "wb") as file:
            lengths.append(_reduce(below, file))
    np.savez(
        place / "breaks.npz", first=np.array(first, dtype=np.int64), start=np.array(start, dtype=np.float64)
    )
    facts = {"format": _FORMAT, "rate": trace.rate, "lengths": lengths}
    (place / "facts.json").write_text(json.dumps(facts), encoding="utf-8")


def _reduce(below: Floats, file: BinaryIO) -> int:
    """Write the level above one; the last entry may stand for fewer than 16."""
    written = 0
    for at in range(0, below.shape[0], _PIECE):
        piece = below[at : at + _PIECE]
        low, high = (piece, piece) if piece.ndim == 1 else (piece[:, 0], piece[:, 1])
        edges = np.arange(0, piece.shape[0], _FACTOR)
        pair = np.stack([np.fmin.reduceat(low, edges), np.fmax.reduceat(high, edges)], axis=1)
        file.write(np.ascontiguousarray(pair, dtype="<f4").data)
        written += edges.size
    return written


def _mapped(path: Path, n: int, pairs: bool) -> Floats:
    shape = (n, 2) if pairs else (n,)
    if path.stat().st_size != 4 * n * (2 if pairs else 1):
        raise ValueError("cut off")
    return np.memmap(path, dtype="<f4", mode="r", shape=shape) if n else np.empty(shape, dtype=np.float32)


def view(pyramid: Pyramid, start: float, end: float, pixels: int) -> View:
    """
    Least and greatest values of a window, one pair a pixel; or its samples where they are few.

    Parameters
    ----------
    pyramid : Pyramid
        Of the recording.
    start, end : float
        The window on the recording's clock. [s]
    pixels : int
        Columns to fill, at most 8192.

    Returns
    -------
    View
        Samples, one before and one after the window with them, where there are at most two to a pixel and
        no break in time; else ``pixels`` stretches. Every sample of the window lies in the stretch of its
        time, to a quarter of a stretch.

    Raises
    ------
    ValueError
        If the window is empty or not finite, or ``pixels`` out of range.
    """
    if not (np.isfinite(start) and np.isfinite(end) and end > start):
        raise ValueError(f"the window must end after it starts, got {start} s to {end} s")
    if not 1 <= pixels <= _MOST_PIXELS:
        raise ValueError(f"pixels must lie in 1 to {_MOST_PIXELS}, got {pixels}")
    rate, step = pyramid.rate, (end - start) / pixels
    ends = np.append(pyramid.first[1:], pyramid.n_samples)
    begin_at = pyramid.start
    inside = np.flatnonzero((begin_at < end) & (begin_at + (ends - pyramid.first) / rate > start))
    if inside.size == 1 and (end - start) * rate <= 2 * pixels:
        i = inside[0]
        a = max(int(np.floor((start - begin_at[i]) * rate)) - 1, 0)
        b = min(int(np.ceil((end - begin_at[i]) * rate)) + 2, int(ends[i] - pyramid.first[i]))
        samples = np.array(pyramid.levels[0][pyramid.first[i] + a : pyramid.first[i] + b])
        return View(float(begin_at[i]) + a / rate, 1 / rate, samples, samples, False)
    low = np.full(pixels, np.nan, dtype=np.float32)
    high = low.copy()
    for i in inside:
        _fill(pyramid, int(pyramid.first[i]), int(ends[i]), float(begin_at[i]), start, step, low, high)
    return View(start, step, low, high, True)


def _fill(
    pyramid: Pyramid,
    first: int,
    last: int,
    begins: float,
    start: float,
    step: float,
    low: Floats,
    high: Floats,
) -> None:
    """Put what one stretch without a break shows into the columns."""
    per_pixel = step * pyramid.rate
    edges = first + np.ceil((start + step * np.arange(low.size + 1) - begins) * pyramid.rate - 1e-6)
    edges = np.clip(edges, first, last).astype(np.int64)
    level = 0
    while level + 1 < len(pyramid.levels) and per_pixel / _FACTOR ** (level + 1) >= _PER_PIXEL:
        level += 1
    size = _FACTOR**level
    if level == 0:
        _into(pyramid.levels[0], pyramid.levels[0], edges, low, high)
        return
    # whole entries only, except at the ends of the stretch, where single samples are taken
    inner_first, inner_last = -(-edges[0] // size) * size, edges[-1] // size * size
    blocks = np.clip(-(-edges // size), inner_first // size, inner_last // size)
    if inner_first < inner_last:
        pairs = pyramid.levels[level]
        _into(pairs[:, 0], pairs[:, 1], blocks, low, high)
    samples = pyramid.levels[0]
    for a, b in ((edges[0], min(inner_first, edges[-1])), (max(inner_last, edges[0]), edges[-1])):
        _into(samples, samples, np.clip(edges, a, b), low, high)


def _into(least: Floats, most: Floats, edges: NDArray[np.int64], low: Floats, high: Floats) -> None:
    """Reduce what lies between successive edges into the columns that are not empty."""
    full = np.flatnonzero(edges[1:] > edges[:-1])
    if not full.size:
        return
    a, b = edges[0], edges[-1]
    starts = edges[full] - a
    low[full] = np.fmin(low[full], np.fmin.reduceat(np.asarray(least[a:b]), starts))
    high[full] = np.fmax(high[full], np.fmax.reduceat(np.asarray(most[a:b]), starts))
