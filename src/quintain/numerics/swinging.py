"""Contacts on a plate that goes on swinging on its pad after the mass has left it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.bad_samples import marked_runs
from quintain.numerics.flight import find_swing
from quintain.numerics.free_response import fit_free_response, free_values

__all__ = ["find_contacts_while_swinging", "swings"]

Floats = NDArray[np.float64]


def swings(force: ArrayLike, rate: float, *, threshold: float, first_end: int, half_width: float) -> bool:
    """
    Tell whether a plate swings: a contact pushes only, so a lasting pull after it is none.

    Parameters
    ----------
    force : array_like, shape (n,)
        Slow force with the zero taken off. [N]
    rate : float
        Sampling rate. [Hz]
    threshold : float
        Level that counts as contact. [N]
    first_end : int
        Sample at which the first contact ends.
    half_width : float
        Half of the moving stretch the slow force was made with: beside a contact its weights dip below
        zero for about that long. [s]

    Returns
    -------
    bool
        Whether the force stays below minus twice the threshold for longer than such a dip.

    Examples
    --------
    >>> import numpy as np
    >>> f = 100 * np.sin(2 * np.pi * 20 * np.arange(200) / 1000)
    >>> swings(f, 1000.0, threshold=10.0, first_end=25, half_width=0.006)
    True
    """
    below = np.asarray(force, dtype=float)[first_end:] < -2 * threshold
    longest = max((end - begin for begin, end in marked_runs(below)), default=0) / rate
    return bool(longest > max(1.3 * half_width, 0.008))


def find_contacts_while_swinging(
    samples: ArrayLike,
    times: ArrayLike,
    first: tuple[int, int],
    *,
    noise: float,
    weight: float,
    frequency: Floats,
    damping: Floats,
    tolerance: float = 0.03,
) -> tuple[NDArray[np.intp], tuple[float, float] | None]:
    """
    Follow the free swinging of a plate and find where it is broken by the mass coming back.

    Parameters
    ----------
    samples, times : array_like, shape (n,)
        Cell samples with the zero taken off, evenly spaced. [N], [s]
    first : (int, int)
        First and last sample of the first contact.
    noise : float
        Standard deviation of one sample. [N]
    weight : float
        Mass times gravity. [N]
    frequency, damping : ndarray, shape (n_modes,)
        The rig's ringing modes. [Hz], [1]
    tolerance : float
        Share of the swing's amplitude by which foam, being not linear, may miss the model. [1]

    Returns
    -------
    contacts : ndarray, shape (n_contacts, 2)
        First sample that departs, and the first from which the swinging is free again; the last may
        run to the end.
    swing : (float, float) or None
        Frequency and damping ratio of the swinging. [Hz], [1]

    Notes
    -----
    A window of one and a half periods is fitted with zero, ringing and one slow mode; it moves on as
    long as it foretells the next few milliseconds.
    """
    y = np.asarray(samples, dtype=float)
    t = np.asarray(times, dtype=float)
    dt = t[1] - t[0]
    begin = first[1]
    trial = slice(begin, min(begin + int(0.16 / dt), y.size))
    swing = find_swing(y[trial], t[trial], noise, frequency, damping)
    contacts = [[first[0], begin]]
    if swing is None:
        return np.array(contacts, dtype=np.intp), None
    modes = np.append(frequency, swing[0]), np.append(damping, swing[1])
    length = max(int(1.5 / swing[0] / dt), 2 * modes[0].size + 8)
    ahead = max(int(0.003 / dt), 2)
    i = begin
    while True:
        released = _next_release(y, t, i, length, noise, modes, tolerance, weight)
        if released is None:
            contacts[-1][1] = y.size
            break
        contacts[-1][1] = released
        broken = _next_departure(y, t, released, length, ahead, noise, modes, tolerance)
        if broken is None:
            break
        contacts.append([broken, broken + 1])
        i = broken + 1
    return np.array(contacts, dtype=np.intp), swing


def _scale(noise: float, coefficients: Floats, tolerance: float) -> float:
    return float(np.hypot(noise, tolerance * np.hypot(coefficients[-2], coefficients[-1])))


def _next_release(
    y: Floats,
    t: Floats,
    i: int,
    length: int,
    noise: float,
    modes: tuple[Floats, Floats],
    tolerance: float,
    weight: float,
) -> int | None:
    step = max(length // 10, 1)
    while i + length <= y.size:
        fit = fit_free_response(y[i : i + length], t[i : i + length], *modes, noise=noise)
        allowed = _scale(noise, fit.coefficients, tolerance)
        if fit.chi2 * noise**2 < 2 * allowed**2 and abs(fit.coefficients[0]) < 0.5 * weight:
            return i
        i += step
    return None


def _next_departure(
    y: Floats,
    t: Floats,
    i: int,
    length: int,
    ahead: int,
    noise: float,
    modes: tuple[Floats, Floats],
    tolerance: float,
) -> int | None:
    while i + length + ahead <= y.size:
        fit = fit_free_response(y[i : i + length], t[i : i + length], *modes, noise=noise)
        span = slice(i + length, i + length + ahead)
        foretold, u = free_values(fit, t[span], *modes)
        allowed = np.hypot(_scale(noise, fit.coefficients, tolerance), u)
        beyond = (y[span] - foretold) > 7 * allowed
        if beyond[-1]:
            return int(span.start + np.flatnonzero(beyond)[0])
        i += max(ahead // 2, 1)
    return None
