"""How far a rig can be trusted: usable bandwidth, and the shortest pulse whose peak is right."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "ShortestPulse",
    "peak_reading",
    "shortest_corrected_pulse",
    "shortest_pulse",
    "usable_bandwidth",
]

Array = NDArray[np.float64]

PULSES: dict[str, Callable[[Array], Array]] = {
    "half-sine": lambda x: np.sin(np.pi * x),
    "haversine": lambda x: np.sin(np.pi * x) ** 2,
    "triangle": lambda x: 1 - np.abs(2 * x - 1),
}
POINTS_A_PERIOD = 16  # a parabola through three points then finds a crest to 2e-5
POINTS_A_PULSE = 1024  # chords of a half-sine then miss 1e-6 of its height
COMING_DOWN = 0.2  # periods; the error ripples once a period
PERIODS_FOR_CORRECTION = 1.5
SAMPLES_FOR_CORRECTION = 8.0


class ShortestPulse(NamedTuple):
    """Shortest pulse [s] whose peak is trusted, and the pulse shape that decides it."""

    duration: float
    shape: str


def _modes(
    natural_frequency: ArrayLike, damping_ratio: ArrayLike, share: ArrayLike | None
) -> tuple[Array, Array, Array]:
    frequency, damping = np.broadcast_arrays(
        np.atleast_1d(np.asarray(natural_frequency, dtype=float)), np.asarray(damping_ratio, dtype=float)
    )
    if not ((frequency > 0).all() and ((damping >= 0) & (damping < 1)).all()):
        raise ValueError("natural frequencies must be positive and damping ratios at least 0 and below 1")
    weight = np.full(frequency.size, 1 / frequency.size) if share is None else np.atleast_1d(share)
    if weight.shape != frequency.shape or weight.sum() <= 0:
        raise ValueError(f"need one share a mode, got {weight.size} for {frequency.size} modes")
    return frequency, damping, np.asarray(weight / weight.sum(), dtype=float)


def usable_bandwidth(
    natural_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    tolerance: float,
    *,
    share: ArrayLike | None = None,
) -> float:
    r"""
    Frequency up to which a steady sine is read right within a tolerance.

    Parameters
    ----------
    natural_frequency, damping_ratio : array_like, shape (n_modes,)
        The rig's modes. [Hz]
    tolerance : float
        Largest relative error of the amplitude, e.g. 0.05.
    share : array_like, shape (n_modes,), optional
        Each mode's part of the static response; equal if not given.

    Returns
    -------
    bandwidth : float
        Lowest frequency at which the amplitude is off by the tolerance. [Hz]

    Notes
    -----
    :math:`H = \sum_i s_i \omega_i^2 / (\omega_i^2 - \omega^2 + 2 j \zeta_i \omega_i \omega)`. A steady
    sine is kinder than a blow: at a bandwidth of 5 % a pulse of one period still over-reads by far more.

    Examples
    --------
    >>> round(usable_bandwidth(300, 0.02, 0.05), 1)
    65.5
    """
    if not 0 < tolerance < 1:
        raise ValueError(f"tolerance must lie between 0 and 1, got {tolerance}")
    frequency, damping, weight = _modes(natural_frequency, damping_ratio, share)

    def error(at: Array) -> Array:
        ratio = at[:, None] / frequency
        # a trace of damping keeps resonance itself finite; it lies far beyond any tolerance
        response = (weight / (1 - ratio**2 + 2j * np.maximum(damping, 1e-9) * ratio)).sum(axis=1)
        return np.asarray(np.abs(np.abs(response) - 1))

    grid = np.linspace(0, 2 * frequency.min(), 20001)
    beyond = np.flatnonzero(error(grid) > tolerance)
    if not beyond.size:
        return float(grid[-1])
    low, high = grid[beyond[0] - 1], grid[beyond[0]]
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (low, middle) if error(np.array([middle]))[0] > tolerance else (middle, high)
    return float(low)


def peak_reading(
    duration: float,
    natural_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    *,
    shape: str = "half-sine",
    share: ArrayLike | None = None,
) -> float:
    r"""
    Peak that a ringing cell shows for a pulse of unit peak.

    Parameters
    ----------
    duration : float
        Length of the pulse. [s]
    natural_frequency, damping_ratio : array_like, shape (n_modes,)
        The rig's modes. [Hz]
    shape : str
        ``"half-sine"``, ``"haversine"`` or ``"triangle"``.
    share : array_like, shape (n_modes,), optional
        Each mode's part of the static response; equal if not given.

    Returns
    -------
    peak : float
        Largest reading, during the pulse or after, over the true peak.

    Notes
    -----
    The response to straight pieces of force is exact (each mode as a complex first-order system); only the
    chords of the pulse approximate it, to 1e-6.

    Examples
    --------
    Undamped, a half-sine of one natural period reads the square root of 3 (Clough & Penzien, chapter 5):

    >>> round(peak_reading(0.01, 100, 0.0), 3)
    1.732
    """
    if shape not in PULSES:
        raise ValueError(f"shape must be one of {', '.join(PULSES)}; got {shape!r}")
    if not duration > 0:
        raise ValueError(f"the pulse must last longer than 0 s, got {duration}")
    frequency, damping, weight = _modes(natural_frequency, damping_ratio, share)
    from scipy.signal import lfilter

    pieces = max(POINTS_A_PULSE, int(np.ceil(POINTS_A_PERIOD * duration * frequency.max())))
    pieces += pieces % 2  # the triangle's tip falls on a point
    step = duration / pieces
    after = int(np.ceil(1.0 / frequency.min() / step))
    force = np.zeros(pieces + 1 + after)
    force[: pieces + 1] = PULSES[shape](np.arange(pieces + 1) / pieces)
    reading = np.zeros(force.size)
    for f, zeta, part in zip(frequency, damping, weight, strict=True):
        natural = 2 * np.pi * f
        swing = natural * np.sqrt(1 - zeta**2)
        pole = complex(-zeta * natural, swing)
        grown = np.exp(pole * step)
        new = (grown - 1 - pole * step) / (pole**2 * step)
        old = (grown - 1) / pole - new
        state = lfilter([new, old], [1, -grown], force.astype(complex))
        reading += part * natural**2 / swing * state.imag
    at = int(np.argmax(reading))
    if 0 < at < reading.size - 1:
        left, top, right = reading[at - 1 : at + 2]
        bend = left - 2 * top + right
        if bend < 0:
            return float(top - (right - left) ** 2 / (8 * bend))
    return float(reading[at])


def shortest_pulse(
    natural_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    tolerance: float,
    *,
    share: ArrayLike | None = None,
    shapes: tuple[str, ...] = ("half-sine", "haversine", "triangle"),
) -> ShortestPulse:
    """
    Shortest pulse whose raw peak is right within a tolerance, and for all longer ones.

    Parameters
    ----------
    natural_frequency, damping_ratio : array_like, shape (n_modes,)
        The rig's modes. [Hz]
    tolerance : float
        Largest relative error of the peak, e.g. 0.02; at least 0.005.
    share : array_like, shape (n_modes,), optional
        Each mode's part of the static response; equal if not given.
    shapes : tuple of str
        Pulse shapes to guard against.

    Returns
    -------
    ShortestPulse
        Duration and the shape that asks for most.

    Notes
    -----
    Without any correction of the ringing. The error ripples with the number of periods in the pulse, so the
    search comes down from long pulses until the first one fails. For a lightly damped cell the familiar five
    natural periods leave 7 to 8 % of over-reading on a half-sine. A blow that starts with a step is worse
    than any of these shapes; sampling is not considered.

    Examples
    --------
    >>> found = shortest_pulse(300, 0.02, 0.02)
    >>> print(f"{1000 * found.duration:.1f} ms, {found.duration * 300:.1f} periods, {found.shape}")
    51.3 ms, 15.4 periods, triangle
    """
    if not 0.005 <= tolerance < 1:
        raise ValueError(f"tolerance must lie between 0.005 and 1, got {tolerance}")
    frequency, damping, weight = _modes(natural_frequency, damping_ratio, share)
    period = 1 / float(frequency.min())
    # an undamped half-sine over-reads by 1/(2 r) at r periods, a triangle by at most 1/(2 r) too
    longest = 0.6 / tolerance + 1
    worst = ShortestPulse(0.0, shapes[0])
    for shape in shapes:

        def off(r: float, shape: str = shape) -> bool:
            reading = peak_reading(r * period, frequency, damping, shape=shape, share=weight)
            return abs(reading - 1) > tolerance

        r = longest
        while r > 0.1 and not off(r):
            r -= COMING_DOWN
        low, high = r, r + COMING_DOWN
        for _ in range(8):
            middle = (low + high) / 2
            low, high = (middle, high) if off(middle) else (low, middle)
        if high * period > worst.duration:
            worst = ShortestPulse(high * period, shape)
    return worst


def shortest_corrected_pulse(natural_frequency: float, rate: float) -> float:
    """
    Shortest pulse whose corrected peak is trusted to half a per cent.

    Parameters
    ----------
    natural_frequency : float
        Slowest mode that is corrected for. [Hz]
    rate : float
        Sampling rate. [Hz]

    Returns
    -------
    duration : float
        One and a half natural periods, or eight samples, whichever is longer. [s]

    Raises
    ------
    ValueError
        If the mode lies above 0.45 of the rate, where no correction is honest.

    Notes
    -----
    From simulated strikes of five pulse shapes (derived here).

    Examples
    --------
    >>> shortest_corrected_pulse(300, 5000)
    0.005
    """
    if not (natural_frequency > 0 and rate > 0):
        raise ValueError("natural frequency and rate must be positive")
    if natural_frequency > 0.45 * rate:
        raise ValueError(
            f"a mode at {natural_frequency:g} Hz cannot be corrected at {rate:g} Hz: "
            f"sample faster than {natural_frequency / 0.45:.4g} Hz"
        )
    return max(PERIODS_FOR_CORRECTION / natural_frequency, SAMPLES_FOR_CORRECTION / rate)
