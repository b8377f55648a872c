"""Peak and contact: where a pulse is highest, begins and ends."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._samples import check_fractions, force_grid
from quintain.numerics.uncertainty.linear import Estimate, combine

__all__ = [
    "Contact",
    "Peak",
    "contact_time",
    "find_contact",
    "find_crossing",
    "find_peak",
    "index_of_peak",
    "slope_at",
    "time_to_peak",
    "width_at_level",
]


class Peak(NamedTuple):
    """The highest point of a pulse: when, how high, and how well both are known."""

    time: float
    value: float
    u: float
    u_time: float


class Contact(NamedTuple):
    """Where the force rises over a threshold and falls below it again, seen outward from the peak."""

    start: float
    end: float
    u_start: float
    u_end: float
    level_start: float
    level_end: float


def find_peak(force: ArrayLike, time: ArrayLike, u_force: ArrayLike) -> Peak:
    r"""
    Find the highest point of a force, between the points of its grid.

    Parameters
    ----------
    force, time : array_like, shape (n,)
        Force on an increasing, evenly spaced grid of times. [N], [s]
    u_force : array_like, shape (n,) or float
        Standard uncertainty of the force. [N]

    Returns
    -------
    Peak
        Time [s], value [N], and their standard uncertainties.

    Raises
    ------
    ValueError
        If a value is not finite, or the highest point is the first or the last.

    Notes
    -----
    A parabola through the highest point and its neighbours. On a grid much finer than the pulse its
    own error is negligible; on raw samples see :mod:`quintain.numerics.sampling`. The instant of the
    peak is known only to within the times where the force stands less than one ``u_force`` below it;
    half that stretch over :math:`\sqrt 3` is stated, as for any limits without preference
    (JCGM 100:2008, 4.3.7). A flat or double top so gives a wide uncertainty.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(0, 0.01, 97)
    >>> peak = find_peak(3000 * np.sin(np.pi * t / 0.01), t, 10.0)
    >>> print(f"{peak.value:.1f} N at {1e3 * peak.time:.3f} ms")
    3000.0 N at 5.000 ms
    """
    force, time, u_force = force_grid(force, time, u_force)
    i = int(np.argmax(force))
    if i in (0, force.size - 1):
        raise ValueError(f"the highest force lies at the edge of the data, {time[i]} s: the pulse is cut off")
    before, top, after = force[i - 1 : i + 2]
    bend = before - 2 * top + after
    shift = 0.5 * (before - after) / bend if bend < 0 else 0.0
    value = top - 0.25 * (before - after) * shift
    step = (time[i + 1] - time[i - 1]) / 2
    near = np.flatnonzero(force >= value - u_force[i])
    near = near if near.size else np.array([i])
    stretch = time[near[-1]] - time[near[0]] + step
    return Peak(float(time[i] + shift * step), float(value), float(u_force[i]), float(stretch / np.sqrt(12)))


def find_contact(
    force: ArrayLike,
    time: ArrayLike,
    u_force: ArrayLike,
    *,
    multiple: float = 3.0,
    fraction: float = 0.01,
) -> Contact:
    r"""
    Find where the contact around the peak begins and ends.

    Parameters
    ----------
    force, time : array_like, shape (n,)
        Corrected force on an increasing grid of times. [N], [s]
    u_force : array_like, shape (n,) or float
        Standard uncertainty of the force without the share of the gain. [N]
    multiple : float
        The threshold is at least so many times the median, over each side of the peak, of the standard
        uncertainty. [1]
    fraction : float
        It is at least this fraction of the peak. [1]

    Returns
    -------
    Contact
        Start and end [s] with standard uncertainties [s], and the threshold at both [N].

    Raises
    ------
    ValueError
        If a value is not finite, the peak does not stand above the threshold, or the force is above it
        up to an edge of the data.

    Notes
    -----
    The search goes outward from the peak, because a smoothed force wavers before the contact and the
    first crossing from outside may be such a wave; so the threshold can be low. A fixed part of the peak
    is common practice, no source; the tie to the force's own uncertainty is ours. A correction for ringing
    is unsure for a millisecond or two where its pulse may have a kink; the median counts, or such a place
    would pass for the end of a pulse that goes on, and start and end would be those of the kink (on
    simulated strikes 0.8 ms late and 3 ms early, against 0.1 ms early and 1 ms). The crossing lies
    between two points by a straight line; its uncertainty is half the way it moves with the force, once one
    standard uncertainty lower and once higher. The touch itself comes earlier than the start, and the
    parting later than the end.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(-0.005, 0.015, 2001)
    >>> force = np.where((t > 0) & (t < 0.01), 3000 * np.sin(np.pi * t / 0.01), 0.0)
    >>> contact = find_contact(force, t, 2.0)
    >>> print(f"{1e3 * contact.start:.3f} ms to {1e3 * contact.end:.3f} ms at {contact.level_start:.0f} N")
    0.032 ms to 9.968 ms at 30 N
    """
    force, time, u_force = force_grid(force, time, u_force)
    i_peak = int(np.argmax(force))
    levels = [
        max(multiple * float(np.median(side)), fraction * float(force[i_peak]))
        for side in (u_force[: i_peak + 1], u_force[i_peak:])
    ]
    highest = max(*levels, multiple * float(u_force[i_peak]))
    if not force[i_peak] > highest:
        raise ValueError(
            f"the peak of {force[i_peak]:.6g} N does not stand above the threshold of "
            f"{highest:.6g} N: there is no contact to find"
        )
    start, u_start = find_crossing(force, time, u_force, levels[0], i_peak, -1)
    end, u_end = find_crossing(force, time, u_force, levels[1], i_peak, +1)
    return Contact(start, end, u_start, u_end, *levels)


def contact_time(
    force: ArrayLike,
    time: ArrayLike,
    u_force: ArrayLike,
    *,
    multiple: float = 3.0,
    fraction: float = 0.01,
) -> Estimate:
    r"""
    Time for which the force around the peak stays above its threshold.

    Parameters
    ----------
    force, time, u_force, multiple, fraction
        As for :func:`find_contact`.

    Returns
    -------
    Estimate
        Contact time with the contributions ``start``, ``end`` and ``threshold``. [s]

    Raises
    ------
    ValueError
        As :func:`find_contact`, also when the peak does not reach three times the threshold.

    Notes
    -----
    The threshold cuts off the toes of the pulse, so the time from touch to parting is longer than
    stated. How much longer depends on the shape of the toes. With three times the threshold the time
    becomes shorter by a stretch that measures it, and ``threshold`` is that stretch, taken as a standard
    uncertainty. What is cut off is 0.5, 0.93 and 1.37 of it for toes that rise as the power 1, 3/2 and 2
    of time (derived here), and up to 1.7 of it on a force smoothed by the correction for ringing
    (simulated). A force that fades away still more slowly (as the third power of the time left) is longer
    by more than is stated: at 1 % of its peak there is no telling.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(-0.005, 0.015, 2001)
    >>> force = np.where((t > 0) & (t < 0.01), 3000 * np.sin(np.pi * t / 0.01), 0.0)
    >>> duration = contact_time(force, t, 2.0)
    >>> print(f"{1e3 * duration.value:.2f} ± {1e3 * duration.u:.2f} ms")
    9.94 ± 0.13 ms
    """
    here = find_contact(force, time, u_force, multiple=multiple, fraction=fraction)
    above = find_contact(force, time, u_force, multiple=3 * multiple, fraction=3 * fraction)
    duration = here.end - here.start
    return combine(
        duration, start=-here.u_start, end=here.u_end, threshold=duration - (above.end - above.start)
    )


def time_to_peak(
    force: ArrayLike,
    time: ArrayLike,
    u_force: ArrayLike,
    *,
    multiple: float = 3.0,
    fraction: float = 0.01,
) -> Estimate:
    r"""
    Time from the start of contact to the peak.

    Parameters
    ----------
    force, time, u_force, multiple, fraction
        As for :func:`find_contact`; the grid is evenly spaced.

    Returns
    -------
    Estimate
        Time to peak with the contributions ``start``, ``threshold`` and ``peak``. [s]

    Raises
    ------
    ValueError
        As :func:`contact_time` and :func:`find_peak`.

    Notes
    -----
    Start as in :func:`find_contact`, instant of the peak as in :func:`find_peak`; the share of the
    threshold as in :func:`contact_time`, for the rising side alone.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(-0.005, 0.015, 2001)
    >>> force = np.where((t > 0) & (t < 0.01), 3000 * np.sin(np.pi * t / 0.01), 0.0)
    >>> print(f"{1e3 * time_to_peak(force, t, 2.0).value:.2f} ms")
    4.97 ms
    """
    here = find_contact(force, time, u_force, multiple=multiple, fraction=fraction)
    above = find_contact(force, time, u_force, multiple=3 * multiple, fraction=3 * fraction)
    peak = find_peak(force, time, u_force)
    return combine(
        peak.time - here.start,
        start=-here.u_start,
        threshold=above.start - here.start,
        peak=peak.u_time,
    )


def width_at_level(
    force: ArrayLike, time: ArrayLike, u_force: ArrayLike, *, fraction: float = 0.5
) -> Estimate:
    """
    Width of the pulse at a fraction of its peak; at one half, its full width at half maximum.

    Parameters
    ----------
    force, time, u_force
        As for :func:`find_contact`.
    fraction : float
        Level as a fraction of the peak, between 0 and 1. [1]

    Returns
    -------
    Estimate
        Width with the contributions ``start``, ``end`` and ``peak`` (an error of the peak moves the
        level). [s]

    Raises
    ------
    ValueError
        If the fraction is not between 0 and 1, or as :func:`find_contact`.

    Notes
    -----
    Not touched by the toes of a pulse, and so the steadier number for comparing pads.

    Examples
    --------
    The half-sine is two thirds of its length wide at half its height:

    >>> import numpy as np
    >>> t = np.linspace(-0.005, 0.015, 2001)
    >>> force = np.where((t > 0) & (t < 0.01), 3000 * np.sin(np.pi * t / 0.01), 0.0)
    >>> print(f"{1e3 * width_at_level(force, t, 2.0).value:.3f} ms")
    6.667 ms
    """
    force, time, u_force = force_grid(force, time, u_force)
    check_fractions(fraction)
    i_peak = index_of_peak(force)
    level = fraction * float(force[i_peak])
    start, u_start = find_crossing(force, time, u_force, level, i_peak, -1)
    end, u_end = find_crossing(force, time, u_force, level, i_peak, +1)
    u_level = fraction * u_force[i_peak]
    lost = u_level * (1 / slope_at(force, time, start) - 1 / slope_at(force, time, end))
    return combine(end - start, start=-u_start, end=u_end, peak=-lost)


def index_of_peak(force: NDArray[np.float64]) -> int:
    """Index of the highest point, which must be a push."""
    i_peak = int(np.argmax(force))
    if not force[i_peak] > 0:
        raise ValueError(f"there is no push in the data, the highest force is {force[i_peak]:.6g} N")
    return i_peak


def find_crossing(
    force: NDArray[np.float64],
    time: NDArray[np.float64],
    u_force: NDArray[np.float64],
    level: float,
    i_peak: int,
    step: int,
) -> tuple[float, float]:
    """
    Instant and standard uncertainty of the first crossing of a level outward from the peak.

    The uncertainty is half the way between the crossings of the force with one ``u_force`` less and more:
    ``u_force`` over the slope where the edge is straight, and not without bounds where it lies flat.
    """
    side = slice(i_peak, None, step)
    out, excess, u_out = time[side], force[side] - level, u_force[side]
    place = _first_below(excess)
    if place is None:
        edge = "first" if step < 0 else "last"
        raise ValueError(
            f"the force is above its threshold up to the {edge} point: the pulse is cut off there"
        )
    points = np.arange(out.size)
    near, far = _first_below(excess - u_out), _first_below(excess + u_out)
    ends = [0.0 if near is None else near, out.size - 1.0 if far is None else far]
    nearest, farthest = np.interp(ends, points, out)
    return float(np.interp(place, points, out)), float(abs(farthest - nearest) / 2)


def _first_below(excess: NDArray[np.float64]) -> float | None:
    """Place, in points and parts of them, where the excess first falls below zero; None if it never does."""
    below = np.flatnonzero(excess < 0)
    if not below.size:
        return None
    outer = int(below[0])
    if outer == 0:
        return 0.0
    inner = outer - 1
    return inner + float(excess[inner] / (excess[inner] - excess[outer]))


def slope_at(force: NDArray[np.float64], time: NDArray[np.float64], instant: float) -> float:
    i = int(np.clip(np.searchsorted(time, instant), 1, time.size - 1))
    return float((force[i] - force[i - 1]) / (time[i] - time[i - 1]))
