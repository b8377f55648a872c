"""Channels from named arrays, as files of numerical programs hold them: which are times, which samples."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quintain.domain.recording import FoundCalibration, Recording
from quintain.domain.trace import Trace
from quintain.errors import ChannelError, RecordingError, UnitError, UsageError
from quintain.readers.calibration import (
    ASK_CALIBRATION,
    ArrayCalibration,
    CalibratedFetch,
    asks_for_calibration,
)
from quintain.readers.columns_header import is_time
from quintain.readers.columns_time import tidy
from quintain.readers.fingerprint import Fingerprint
from quintain.readers.stamped import Piece, PieceSamples, rate_of_stamps
from quintain.readers.traces import ASK_UNIT, make_trace, unit_notes
from quintain.readers.units import find_unit, parse_units, split_unit

__all__ = ["NamedArray", "array_channels", "is_rate_name", "recording_of_arrays"]

_PIECE = 1 << 16
"""Samples fetched at a time."""
_FIRST = 20_000
"""Stamps from which a rate is found."""
_MOST_CHANNELS = 4096


@dataclass(frozen=True, slots=True)
class NamedArray:
    """
    One column of samples or times in a file.

    Parameters
    ----------
    name : str
        Name in the file, possibly with a unit ('force_N').
    n : int
        How many numbers.
    fetch : callable
        ``fetch(i, j)`` gives numbers ``i`` to ``j`` as float64.
    unit : str
        Unit that the file states beside the name.
    group : str
        Times and samples of one group belong together.
    interval : float or None
        Sampling interval that the file states. [s]
    start : float
        Time of the first sample that the file states. [s]
    device : str
        Device that recorded it.
    ragged : bool
        Whether missing numbers at the end mean that the column is shorter than the others.
    calibration : ArrayCalibration or None
        What the file says turns the fetched numbers into its unit.
    """

    name: str
    n: int
    fetch: Callable[[int, int], NDArray[np.float64]]
    unit: str = ""
    group: str = ""
    interval: float | None = None
    start: float = 0.0
    device: str = ""
    ragged: bool = False
    calibration: ArrayCalibration | None = None


def is_rate_name(name: str) -> bool:
    """Whether a single number of this name is a sampling rate in Hz ('fs', 'sample_rate')."""
    return name.lower().strip() in (
        "fs", "rate", "sample_rate", "samplerate", "sampling_rate", "samplingrate", "sample_rate_hz",
        "rate_hz", "fs_hz", "sampling_frequency", "sampling_rate_hz",
    )  # fmt: skip


def array_channels(name: str, array: Any, **more: Any) -> list[NamedArray]:
    """
    Columns of an array of one or two dimensions (or of anything that slices like one).

    The longer dimension is time. An array of records gives one column a field.

    Returns
    -------
    list of NamedArray
        Empty if the array holds no real numbers.
    """
    dtype, shape = array.dtype, tuple(array.shape)
    if dtype.names:
        if len(shape) != 1:
            return []
        return [
            NamedArray(field, shape[0], partial(_slice_field, array, field), **more)
            for field in dtype.names
            if dtype[field].kind in "iuf" and dtype[field].shape == ()
        ]
    if dtype.kind not in "iuf" or not shape or len(shape) > 2 or min(shape) == 0:
        return []
    if len(shape) == 1 or 1 in shape:
        across = len(shape) == 2 and shape[0] == 1
        at = 0 if len(shape) == 2 else None
        return [NamedArray(name, max(shape), partial(_slice, array, at, across), **more)]
    across = shape[1] > shape[0]
    width = min(shape)
    if width > _MOST_CHANNELS:
        return []
    return [
        NamedArray(f"{name}[{k}]", max(shape), partial(_slice, array, k, across), **more)
        for k in range(width)
    ]


def _slice(array: NDArray[np.float64], k: int | None, across: bool, i: int, j: int) -> NDArray[np.float64]:
    part = array[i:j] if k is None else array[k, i:j] if across else array[i:j, k]
    with np.errstate(invalid="ignore", over="ignore"):
        return np.asarray(part, dtype=np.float64)


def _slice_field(array: NDArray[np.void], field: str, i: int, j: int) -> NDArray[np.float64]:
    with np.errstate(invalid="ignore", over="ignore"):
        return np.asarray(array[i:j][field], dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Fetch:
    """Pieces of a column, with the stamps of its time column if it has one."""

    samples: NamedArray
    time: NamedArray | None
    factor: float

    def __call__(self) -> Iterator[Piece]:
        with _opened(self.samples.fetch) as fetch:
            for i in range(0, self.samples.n, _PIECE):
                j = min(i + _PIECE, self.samples.n)
                stamps = self.time.fetch(i, j) * self.factor if self.time else None
                yield fetch(i, j), stamps, i + 1


def _opened(fetch: Any) -> AbstractContextManager[Callable[[int, int], NDArray[np.float64]]]:
    """What fetches many pieces, with the file kept open where the format offers that (``opened``)."""
    return fetch.opened() if hasattr(fetch, "opened") else nullcontext(fetch)


def recording_of_arrays(
    found: Fingerprint,
    arrays: Sequence[NamedArray],
    *,
    reader: str,
    units: str | Mapping[str, str] | None,
    rate: float | None,
    header: str,
    started: datetime | None = None,
    notes: Iterable[str] = (),
    calibration: str | None = None,
    calibrations: Iterable[FoundCalibration] = (),
) -> Recording:
    """
    Make a recording of the arrays of a file.

    Parameters
    ----------
    found : Fingerprint
        The file.
    arrays : sequence of NamedArray
        Its columns, times among them.
    reader : str
        Name of the reader.
    units : str or mapping or None
        Units that the user states, times included.
    rate : float or None
        Sampling rate that the user states, for channels that have neither times nor an interval. [Hz]
    header : str
        What the file says of itself.
    started : datetime or None
        Start of the recording.
    notes : iterable of str
        What the reader concluded so far.
    calibration : str or None
        'file' if the calibrations of the columns shall be used.
    calibrations : iterable of FoundCalibration
        Others that the file holds.

    Returns
    -------
    Recording
        One trace a channel, each with its own rate. A column with a calibration that is not used has no
        unit until the user states that of its raw numbers.

    Raises
    ------
    RecordingError
        If there are no channels, no rate is stated, or stamps are uneven.
    UnitError
        If a time column has no unit.
    """
    where = str(found.path)
    if rate is not None and not (np.isfinite(rate) and rate > 0):
        raise UsageError(f"{where}: rate must be above 0 Hz, got {rate}.")
    given = parse_units(units)
    said = list(notes)
    shown = list(calibrations)
    asked = asks_for_calibration(calibration)
    labels = [split_unit(array.name) if not array.unit else (array.name, array.unit) for array in arrays]
    given.check_names((name for name, _ in labels), where)
    times: list[tuple[NamedArray, float, float]] = []
    channels = []
    for array, (name, stated) in zip(arrays, labels, strict=True):
        if array.calibration is not None:
            in_unit = f"{array.calibration.text} [{stated or 'no unit stated'}]"
            shown.append(FoundCalibration(name, in_unit, asked))
            stated = stated if asked else ""
            if asked:
                array = replace(
                    array, fetch=CalibratedFetch(array.fetch, array.calibration), calibration=None
                )
        known = find_unit(given.by_channel.get(name, stated))
        own = find_unit(name)
        if is_time(name) or (known is not None and known.quantity == "time"):
            if known is None and own is not None and own.quantity == "time":
                known = own
            if known is None or known.quantity != "time":
                raise UnitError(
                    f"{where}: time column {name!r} states no unit. State it with units='{name}=s'."
                )
            stamps = array.fetch(0, min(array.n, _FIRST)) * known.factor
            found_rate = rate_of_stamps(stamps, stated=None, given=rate, name=name, where=where, notes=said)
            times.append((array, known.factor, found_rate))
        else:
            channels.append((array, name, stated))
    if not channels:
        raise ChannelError(
            f"{where}: there are no channels of numbers in the file. Export the force as numbers."
        )
    traces: list[Trace] = []
    without: list[str] = []
    for array, name, stated in channels:
        fitting = [t for t in times if t[0].group == array.group and t[0].n == array.n] or [
            t for t in times if t[0].n == array.n
        ]
        by_name = given._replace(for_all="") if array.calibration else given
        unit = by_name.choose(name, stated, where)
        if fitting:
            time, factor, pace = fitting[-1]
            fetch = _Fetch(array, time, factor)
        else:
            paced = _pace_without_times(array, name, rate, where)
            if paced is None:
                without.append(name)
                continue
            pace, fetch = paced, _Fetch(array, None, 1.0)
        source = PieceSamples(found, fetch, unit, pace, array.start, array.ragged)
        remedy = ASK_UNIT
        if array.calibration:
            remedy = ASK_CALIBRATION.replace("{text}", array.calibration.text)
        traces.append(make_trace(name, unit, pace, source, where=where, device=array.device, remedy=remedy))
    if not traces:
        raise RecordingError(
            f"{where}: channel {without[0]!r} has neither times nor a sampling rate in the file. State "
            "rate in Hz."
        )
    said += [f"channel {name!r} has neither times nor a rate and is left out; state rate" for name in without]
    said += unit_notes(tuple(traces))
    return Recording(
        where,
        found.digest,
        found.n_bytes,
        tuple(traces),
        header,
        started,
        reader,
        tuple(said),
        tuple(shown),
    )


def _pace_without_times(array: NamedArray, name: str, rate: float | None, where: str) -> float | None:
    if array.interval is None:
        return None if rate is None else float(rate)
    if rate is not None and abs(rate * array.interval - 1) > 5e-4:
        raise RecordingError(
            f"{where}: the file states {1 / array.interval:.6g} Hz for channel {name!r}, but rate is "
            f"given as {rate:g} "
            "Hz. Leave rate out or correct it."
        )
    return tidy(1 / array.interval)
