"""Checks of rows of samples that the quantities of a pulse share."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["check_fractions", "check_rate", "finite_row", "force_grid"]


def finite_row(values: ArrayLike, name: str, *, at_least: int) -> NDArray[np.float64]:
    array = np.asarray(values, dtype=float)
    if array.ndim != 1 or array.size < at_least:
        raise ValueError(f"need at least {at_least} samples of {name} in one row, got shape {array.shape}")
    if not np.isfinite(array).all():
        first = int(np.flatnonzero(~np.isfinite(array))[0])
        raise ValueError(f"{name} must be finite, but sample {first} is {array[first]}")
    return array


def force_grid(
    force: ArrayLike, time: ArrayLike, u_force: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    force = finite_row(force, "force", at_least=3)
    time = finite_row(time, "time", at_least=3)
    u = np.asarray(u_force, dtype=float)
    if time.shape != force.shape or u.shape not in ((), force.shape):
        raise ValueError(f"force, time and u_force must match, got {force.shape}, {time.shape} and {u.shape}")
    if not (np.diff(time) > 0).all():
        raise ValueError("time must increase from point to point")
    u = finite_row(np.broadcast_to(u, force.shape), "u_force", at_least=3)
    if (u < 0).any():
        raise ValueError("u_force must not be negative")
    return force, time, u


def check_rate(rate: float) -> None:
    if not (np.isfinite(rate) and rate > 0):
        raise ValueError(f"the sampling rate must be above 0 Hz, got {rate}")


def check_fractions(*fractions: float) -> None:
    if not all(a < b for a, b in pairwise((0.0, *fractions, 1.0))):
        raise ValueError(f"need fractions of the peak in order between 0 and 1, got {fractions}")
