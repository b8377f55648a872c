"""Speed at contact from a tracked position: video or motion capture."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.uncertainty.linear import Contribution, combine

__all__ = ["TrackSpeed", "check_frame_times", "speed_along_track", "speed_from_track"]

Floats = NDArray[np.float64]

WINDOWS = (0.02, 0.03, 0.045, 0.07, 0.1)
"""Stretches before contact that are tried where none is stated. [s]"""

BENDING = 2.2
"""What a parabola leaves out, in differences to a cubic; simulated strikes ask for it."""

LEAST_FRAMES = 6
"""A parabola through fewer frames says nothing about its own error."""


class TrackSpeed(NamedTuple):
    """Speed at contact with its doubts [m/s], acceleration there [m/s²], and the frames used."""

    value: float
    u: float
    contributions: tuple[Contribution, ...]
    acceleration: float
    u_acceleration: float
    n_frames: int


def check_frame_times(time: ArrayLike) -> float:
    """
    Mean frame rate of a track, if its time stamps can be trusted.

    Parameters
    ----------
    time : array_like, shape (n,)
        Time stamps. [s]

    Returns
    -------
    rate : float
        Frames a second. [Hz]

    Raises
    ------
    ValueError
        If there are fewer than three, one is missing or repeated, time runs backwards, frames were
        dropped, or the stamps are rounded so coarsely that intervals differ by more than 10 %.

    Notes
    -----
    A speed is a quotient of small differences: stamps rounded to 10 ms at 120 frames a second are wrong
    by up to a whole interval, which no fit of a few frames can mend. Dropped frames belong into the track
    as frames without a position.

    Examples
    --------
    >>> round(check_frame_times([0.0, 0.005, 0.010, 0.015]), 3)
    200.0
    """
    t = np.asarray(time, dtype=float)
    if t.ndim != 1 or t.size < 3 or not np.isfinite(t).all():
        raise ValueError("a track needs at least three time stamps, none of them missing")
    steps = np.diff(t)
    if not (steps > 0).all():
        i = int(np.flatnonzero(steps <= 0)[0])
        raise ValueError(
            f"the time stamps must rise, but frame {i + 1} has {t[i + 1]:g} s after {t[i]:g} s; number the "
            "frames and state the frame rate instead"
        )
    typical = float(np.median(steps))
    worst = int(np.argmax(np.abs(steps - typical)))
    if abs(steps[worst] - typical) > 0.1 * typical:
        few = (
            np.unique(np.round(steps / typical, 3)).size <= 4
            and np.mean(np.abs(steps / typical - 1) > 0.1) > 0.05
        )
        reason = "the stamps are rounded too coarsely" if few else "frames are missing or the clock jumped"
        raise ValueError(
            f"the time between frames must be steady, but it is {steps[worst]:g} s after frame {worst} and "
            f"{typical:g} s otherwise: {reason}. Number the frames and state the frame rate instead"
        )
    return (t.size - 1) / float(t[-1] - t[0])


def speed_from_track(
    position: ArrayLike,
    time: ArrayLike,
    contact: float,
    *,
    normal: ArrayLike | None = None,
    u_position: float = 0.0,
    u_scale: float = 0.01,
    u_contact: float | None = None,
    window: float | None = None,
) -> TrackSpeed:
    r"""
    Speed just before contact from a tracked point, by a parabola through the frames before it.

    Parameters
    ----------
    position : array_like, shape (n,) or (n, 3)
        Position of the striking point; frames without one are NaN and stay so. [m]
    time : array_like, shape (n,)
        Time stamps. [s]
    contact : float
        Instant of contact on the same clock. [s]
    normal : array_like, shape (3,), optional
        Direction into the target; without it the resultant of three components is given. A track of
        one component is taken along the normal. [1]
    u_position : float
        Least standard uncertainty of one position; the scatter about the fit is taken if it is larger. [m]
    u_scale : float
        Relative standard uncertainty of the length scale. [1]
    u_contact : float, optional
        Standard uncertainty of the instant; by default the contact lies anywhere within one frame. [s]
    window : float, optional
        Length of the stretch before contact. Without it, of several from 20 to 100 ms the one of the least
        uncertainty. [s]

    Returns
    -------
    TrackSpeed
        With contributions of scatter, bending, scale and instant.

    Raises
    ------
    ValueError
        If shapes differ, the time stamps cannot be trusted (:func:`check_frame_times`), or fewer than
        six frames with a position lie in the window, which ends a frame before contact.

    Notes
    -----
    Savitzky and Golay (1964, doi:10.1021/ac60214a047) at the end of the record: position by a parabola,
    speed and acceleration from its derivatives, carried to contact. ``bending`` is 2.2 times the
    difference to a cubic, or to a straight line through the later half where the frames are too few for
    one. Limbs that lose speed in the last milliseconds read high: on simulated strikes filmed at 250 and
    1000 frames a second with 2 mm of noise by 5 and 2 % on average. A frame
    that already holds the contact would make the speed too low; hence one is left out.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(40) / 240
    >>> speed = speed_from_track(8.0 * t + 20.0 * t**2, t, contact=0.150, u_scale=0.0)
    >>> round(speed.value, 3), round(speed.acceleration, 1), speed.n_frames
    (14.0, 40.0, 10)
    """
    x, t = np.asarray(position, dtype=float), np.asarray(time, dtype=float)
    x = x[:, None] if x.ndim == 1 else x
    if x.ndim != 2 or x.shape[1] not in (1, 3) or x.shape[0] != t.size:
        raise ValueError(f"position must have shape ({t.size},) or ({t.size}, 3), got {np.shape(position)}")
    rate = check_frame_times(t)
    known = np.isfinite(x).all(axis=1)
    s = t - contact
    found, most = [], 0
    for length in WINDOWS if window is None else (window,):
        chosen = known & (s >= -length - 1 / rate) & (s <= -1 / rate)
        most = max(most, int(chosen.sum()))
        if chosen.sum() >= LEAST_FRAMES:
            found.append(_read(x[chosen], s[chosen], normal, u_position, u_scale, u_contact, rate))
    if not found:
        longest = 1e3 * (max(WINDOWS) if window is None else window)
        raise ValueError(
            f"need at least {LEAST_FRAMES} frames with a position in the {longest:.0f} ms before contact, "
            f"got {most} at {rate:.0f} frames a second; film faster"
        )
    return min(found, key=lambda speed: speed.u)


def speed_along_track(position: ArrayLike, time: ArrayLike, *, frames: int = 5) -> Floats:
    r"""
    Speed of a tracked point at every frame.

    Parameters
    ----------
    position : array_like, shape (n, 3)
        Frames without a position are NaN. [m]
    time : array_like, shape (n,)
        Time stamps. [s]
    frames : int
        Odd number of frames that a parabola is laid through.

    Returns
    -------
    speed : ndarray, shape (n,)
        Length of the velocity; NaN wherever a frame that it needs has no position, and at both ends: a
        gap is never bridged. [m/s]

    Raises
    ------
    ValueError
        If shapes or the number of frames do not fit, or the time stamps cannot be trusted.

    Notes
    -----
    Savitzky and Golay (1964), doi:10.1021/ac60214a047. Smoothing makes short peaks of the speed lower.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(7) / 100
    >>> speed_along_track(np.outer(t, [3.0, 0.0, 4.0]), t).round(6).tolist()
    [nan, nan, 5.0, 5.0, 5.0, nan, nan]
    """
    x = np.asarray(position, dtype=float)
    if x.ndim != 2 or x.shape[1] != 3 or frames < 3 or frames % 2 == 0 or x.shape[0] < frames:
        raise ValueError(
            f"need positions of shape (n, 3), at least {frames} of them, and an odd number of frames"
        )
    rate = check_frame_times(time)
    half = frames // 2
    arm = np.arange(-half, half + 1)
    weights = arm * rate / float((arm**2).sum())
    velocity = np.full(x.shape, np.nan)
    velocity[half:-half] = np.stack([np.correlate(c, weights, "valid") for c in x.T], axis=1)
    return np.asarray(np.sqrt((velocity**2).sum(axis=1)))


def _read(
    x: Floats,
    s: Floats,
    normal: ArrayLike | None,
    u_position: float,
    u_scale: float,
    u_contact: float | None,
    rate: float,
) -> TrackSpeed:
    n = s.size
    parabola, covariance, scatter = _fit(x, s, 2, u_position)
    velocity, bent = parabola[1], 2 * parabola[2]
    cubic = _fit(x, s, 3, u_position)[0] if n > LEAST_FRAMES else None
    other = _fit(x[n // 2 :], s[n // 2 :], 1, u_position)[0] if cubic is None else cubic
    if x.shape[1] == 1:
        direction = np.ones(1)
    else:
        direction = velocity if normal is None else np.asarray(normal, dtype=float)
        direction = direction / max(float(np.linalg.norm(direction)), 1e-12)
    value, acceleration = float(velocity @ direction), float(bent @ direction)
    bending = float((velocity - other[1]) @ direction)
    slope = acceleration if cubic is None else 2 * float((cubic[2] - parabola[2]) @ direction)
    within_frame = 1 / rate / math.sqrt(12) if u_contact is None else u_contact
    estimate = combine(
        value,
        scatter=scatter * math.sqrt(covariance[1, 1]),
        bending=BENDING * bending,
        scale=u_scale * value,
        contact=acceleration * within_frame,
    )
    u_acceleration = math.hypot(2 * scatter * math.sqrt(covariance[2, 2]), slope, u_scale * acceleration)
    return TrackSpeed(value, estimate.u, estimate.contributions, acceleration, u_acceleration, n)


def _fit(x: Floats, s: Floats, degree: int, u_position: float) -> tuple[Floats, Floats, float]:
    """Coefficients, shape (degree + 1, k), their covariance for unit scatter, and the scatter."""
    design = np.vander(s, degree + 1, increasing=True)
    coefficients, *_ = np.linalg.lstsq(design, x, rcond=None)
    left = x - design @ coefficients
    free = max((s.size - degree - 1) * x.shape[1], 1)
    scatter = max(math.sqrt(float((left**2).sum()) / free), u_position)
    return np.asarray(coefficients), np.asarray(np.linalg.inv(design.T @ design)), scatter
