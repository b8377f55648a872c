"""From a recording to the stretches of an inertial sensor: three axes each, in order, without breaks."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quintain.domain.motion import ImuSetup
from quintain.domain.recording import Recording
from quintain.domain.trace import Trace
from quintain.errors import ChannelError, UnitError

__all__ = ["ImuStretch", "has_imu", "pick_axes", "read_imu"]

Floats = NDArray[np.float64]

SHORTEST = 0.25
"""Stretches between breaks that are shorter hold no rest and are left out. [s]"""


@dataclass(frozen=True, slots=True)
class ImuStretch:
    """Samples without a break: time of the first one [s], (n, 3) acceleration and angular rate or None."""

    start: float
    rate: float
    acceleration: Floats
    angular_rate: Floats | None

    @property
    def end(self) -> float:
        """Time of the last sample. [s]"""
        return self.start + (len(self.acceleration) - 1) / self.rate


def has_imu(recording: Recording) -> bool:
    """Whether a recording holds a channel of acceleration."""
    return any(trace.quantity == "acceleration" for trace in recording.traces)


def pick_axes(recording: Recording, quantity: str, names: tuple[str, ...] = ()) -> tuple[Trace, ...]:
    """
    The three channels of a vector, in the order x, y, z.

    Parameters
    ----------
    recording : Recording
        What was recorded.
    quantity : str
        'acceleration', 'angular_rate' or 'position'.
    names : tuple of str
        Their names in that order; without them they are told by quantity and the letter in their names.

    Returns
    -------
    tuple of Trace
        Three; none where the recording has no such channel at all.

    Raises
    ------
    ChannelError
        If there are not three, or their order or a common rate cannot be told.
    UnitError
        If a named channel is of another quantity, or there is none but some whose unit is not known.
    """
    where = recording.path or "recording"
    listing = ", ".join(f"{t.name!r} ({t.quantity}, {t.unit})" for t in recording.traces) or "none"
    if names:
        found = [recording.trace(name) for name in names]
        for trace in found:
            if trace.quantity != quantity:
                raise UnitError(
                    f"{where}, channel {trace.name!r}: expected {quantity.replace('_', ' ')}, got "
                    f"{trace.quantity} in {trace.unit_in_file or '(none)'}"
                )
    else:
        found = [t for t in recording.traces if t.quantity == quantity]
        if not found:
            unknown = [t.name for t in recording.traces if t.quantity == "unknown"]
            if unknown and quantity == "acceleration":
                raise UnitError(
                    f"{where}: no channel of acceleration is known, and channel {unknown[0]!r} has no known "
                    f"unit. State it with units, as in '{unknown[0]}=m/s^2' or '=g'. There are: {listing}"
                )
            return ()
        if len(found) == 3:
            letters = [_axis(trace.name) for trace in found]
            if sorted(letters) == ["x", "y", "z"]:
                found = [found[letters.index(letter)] for letter in "xyz"]
    if len(found) != 3:
        raise ChannelError(
            f"{where}: need three axes of {quantity.replace('_', ' ')}, got {len(found)}; name the three in "
            f"the order x, y, z. There are: {listing}"
        )
    if len({trace.rate for trace in found}) > 1:
        rates = ", ".join(f"{trace.rate:g} Hz" for trace in found)
        raise ChannelError(f"{where}: the axes of {quantity.replace('_', ' ')} have different rates: {rates}")
    return tuple(found)


def read_imu(recording: Recording, setup: ImuSetup) -> list[ImuStretch]:
    """
    Read an inertial sensor, split at gaps and missing samples.

    Parameters
    ----------
    recording : Recording
        Holds three channels of acceleration, and three of angular rate where there is a gyro.
    setup : ImuSetup
        Names of the channels and the calibration, which is applied.

    Returns
    -------
    list of ImuStretch
        In order of time.

    Raises
    ------
    ChannelError, UnitError
        If the axes cannot be told, or accelerometer and gyro have different rates or lengths.
    """
    where = recording.path or "recording"
    acceleration = pick_axes(recording, "acceleration", setup.acceleration)
    if not acceleration:
        raise ChannelError(f"{where}: there is no channel of acceleration; an inertial sensor needs three")
    gyro = pick_axes(recording, "angular_rate", setup.angular_rate)
    traces = acceleration + gyro
    if len({trace.rate for trace in traces}) > 1:
        raise ChannelError(
            f"{where}: accelerometer and gyro have different rates, {acceleration[0].rate:g} Hz and "
            f"{gyro[0].rate:g} Hz; export both at one rate"
        )
    rate = acceleration[0].rate
    starts = [(block.first, block.start, block.join) for block in acceleration[0].blocks()]
    columns = [trace.read() for trace in traces]
    if len({column.size for column in columns}) > 1:
        raise ChannelError(f"{where}: the axes have different numbers of samples")
    samples = np.stack(columns, axis=1)
    breaks = [(first, start) for i, (first, start, join) in enumerate(starts) if i == 0 or join]
    stretches = []
    for i, (first, start) in enumerate(breaks):
        stop = breaks[i + 1][0] if i + 1 < len(breaks) else len(samples)
        whole = np.isfinite(samples[first:stop]).all(axis=1)
        edges = np.flatnonzero(np.diff(np.r_[False, whole, False]))
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            if (b - a) / rate < SHORTEST:
                continue
            part = samples[first + a : first + b]
            force = part[:, :3] if setup.calibration is None else setup.calibration.apply(part[:, :3])
            stretches.append(ImuStretch(start + a / rate, rate, force, part[:, 3:] if gyro else None))
    return stretches


def _axis(name: str) -> str:
    """The letter that tells the axis: at the end of the name or of its first word, or in front."""
    plain = name.strip().lower()
    for pattern in (r"(?:^|[^a-z])([xyz])(?:[^a-z]|$)", r"([xyz])$", r"([xyz])(?:[^a-z]|$)", r"^([xyz])"):
        found = re.search(pattern, plain)
        if found:
            return found.group(1)
    return ""
