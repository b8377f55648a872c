"""From the samples of one dropped mass to its train of contact starts and the moments between them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.closure import ClosureSetup, ForceMoments, approach_speed, arrival_speed
from quintain.numerics.contact_start import LoadingFit, departure, fit_loading, time_to_slow
from quintain.numerics.first_moment import force_moments, ring_delay
from quintain.numerics.flight import Flight, ZeroLine, fit_flight, fit_zero, refine_ringing
from quintain.numerics.free_response import fit_free_response, free_values
from quintain.numerics.impacts import find_contacts, prune_contacts, slow_force
from quintain.numerics.plate_start import U_SEEN, U_UNKNOWN, UNKNOWN, PlateFit, fit_plate_loading
from quintain.numerics.swinging import find_contacts_while_swinging, swings

__all__ = ["Rig", "Train", "follow_train"]

Floats = NDArray[np.float64]

U_LAW = 2e-5
"""Standard uncertainty that a start keeps because no pad follows a law exactly, on a rig of 200 Hz or
more; a slower rig shows the beginning of the loading later and less, by the square of its period. From
simulated foams with loss, densification and relaxation. [s]"""
U_FEW = 2.0
"""The same for few samples in the loading: so many sampling intervals, over their number squared. [1]"""


class Rig(NamedTuple):
    """Modes of the rig and delay of what stands behind it."""

    frequency: Floats
    """Undamped natural frequencies. [Hz]"""
    damping: Floats
    """Damping ratios. [1]"""
    share: Floats
    """Shares of a constant force; they add up to 1. [1]"""
    low: Floats = np.zeros((0, 2))
    """Low-pass filter behind the cell, see
    :func:`~quintain.numerics.contact_start.low_pass_sections`."""


class Train(NamedTuple):
    """A dropped mass from its first touch to the last start that a flight precedes."""

    starts: Floats
    """Contact starts. [s]"""
    u_starts: Floats
    """Standard uncertainties. [s]"""
    ends: Floats
    """Where each contact's slow force comes back to zero; soft, for comparison only. [s]"""
    speeds: Floats
    """Downward speed at each start, 0 where none can be had. [m/s]"""
    loadings: tuple[LoadingFit, ...]
    """Fits of the starts."""
    moments: tuple[ForceMoments, ...]
    """Force between successive starts, one fewer than starts."""
    flights: tuple[Flight, ...]
    """One for each interval."""
    zero: ZeroLine
    """Zero of the cell."""
    noise: float
    """Standard deviation of one sample. [N]"""
    slow: Floats
    """Slow force with the zero taken off, at each sample. [N]"""
    contacts: NDArray[np.intp]
    """First and last sample of all contacts seen, also of those after the last start."""
    rig: Rig
    """Modes as refined in the first flight."""
    through_plate: bool
    """Whether a plate delays what the cell feels, and the starts were fitted through it."""


def follow_train(
    samples: ArrayLike,
    times: ArrayLike,
    rig: Rig,
    setup: ClosureSetup,
    *,
    first: int,
    noise: float | None = None,
    shortest_flight: float = 0.045,
    most_starts: int = 8,
) -> Train:
    """
    Find contacts, flights, zero and starts of one dropped mass, and the moments between the starts.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Cell samples, with quiet before the drop. [N]
    times : array_like, shape (n,)
        Their evenly spaced instants. [s]
    rig : Rig
        Modes of the rig; empty arrays for a cell that follows at once.
    setup : ClosureSetup
        Mass and gravity.
    first : int
        Sample near which the slow force first rises, see
        :func:`~quintain.numerics.impacts.find_impacts`.
    noise : float, optional
        Standard deviation of one sample; taken from the quiet before the drop if not given. [N]
    shortest_flight : float
        Flights shorter than this end the train. [s]
    most_starts : int
        Later bounces add little and are not followed.

    Returns
    -------
    Train
        Starts, speeds and moments.

    Raises
    ------
    ValueError
        If there is less than 0.1 s of quiet before the drop.

    Notes
    -----
    Starts are sought as departures from the rig's free response, foretold from the flight before, and
    then fitted forward through the cell (:func:`~quintain.numerics.contact_start.fit_loading`) with
    the speed that the closure itself gives; twice round is enough, since the speed hardly matters.
    """
    y = np.asarray(samples, dtype=float)
    t = np.asarray(times, dtype=float)
    dt = float((t[-1] - t[0]) / (t.size - 1))
    slow = slow_force(y, 1 / dt, rig.frequency, rig.damping)
    guard = int(np.ceil(slow.half_width / dt)) + 2
    quiet = _quiet_before(y, first - guard, 1 / dt, weight=setup.mass * setup.gravity)
    if quiet.stop - quiet.start < 0.1 / dt:
        raise ValueError("need at least 0.1 s of quiet before the drop to know the zero")
    resting = fit_free_response(y[quiet], t[quiet], rig.frequency, rig.damping, noise=1.0, degree=1)
    seen = float(np.sqrt(resting.chi2))
    # no model of a rig is better than some 1e-4 of the force, whatever the noise
    sigma = max(seen if noise is None else noise, 1e-4 * float(np.ptp(y)))
    weight = setup.mass * setup.gravity
    level = float(np.median(y[quiet]))
    force = slow.force - level
    threshold = max(6 * sigma * slow.gain, 0.25 * weight, 0.004 * float(force.max()))
    contacts = find_contacts(force, 1 / dt, threshold=threshold)
    contacts = contacts[contacts[:, 1] > first]
    contacts = prune_contacts(contacts, force, 1 / dt, weight=weight)
    swing = None
    if swings(force, 1 / dt, threshold=threshold, first_end=int(contacts[0, 1]), half_width=slow.half_width):
        contacts, swing = find_contacts_while_swinging(
            y - level,
            t,
            (int(contacts[0, 0]), int(contacts[0, 1])),
            noise=sigma,
            weight=weight,
            frequency=rig.frequency,
            damping=rig.damping,
        )
    gaps = (contacts[1:, 0] - contacts[:-1, 1]) * dt
    short = np.flatnonzero(gaps < shortest_flight - 2 * slow.half_width * 0.5)
    n_starts = min(int(short[0]) + 1 if short.size else len(contacts), most_starts)

    if n_starts > 1:
        span = slice(int(contacts[0, 1]), int(contacts[1, 0]) - guard)
        later = slice(span.start + (span.stop - span.start) // 10, span.stop)
        frequency, damping = refine_ringing(
            y[later], t[later], noise=sigma, frequency=rig.frequency, damping=rig.damping
        )
        rig = rig._replace(frequency=frequency, damping=damping)
    flights: list[Flight] = []
    for k in range(n_starts - 1):
        span = slice(int(contacts[k, 1]) - guard // 2, int(contacts[k + 1, 0]) - guard)
        flight = fit_flight(
            y[span], t[span], noise=sigma, frequency=rig.frequency, damping=rig.damping, swing=swing
        )
        if flight is None:
            n_starts = k + 1
            break
        flights.append(flight)
    zero = _zero_line(y, t, quiet, flights, sigma, reference=float(t[contacts[0, 0]]))
    clean = y - zero.offset - zero.slope * (t - zero.reference)
    starts = np.zeros(n_starts)
    u_starts = np.zeros(n_starts)
    windows = []
    for k in range(n_starts):
        begin = quiet.stop - guard if k == 0 else int(contacts[k, 0]) - guard
        window = _start_window(
            clean, t, begin, int(contacts[k, 1]), flights[k - 1] if k else None, sigma, zero
        )
        windows.append(window)
        starts[k] = window.guess
    speeds = np.zeros(n_starts)
    moments: list[ForceMoments] = []
    loadings: list[LoadingFit] = []
    touches: list[PlateFit] | None = None
    for _ in range(2):
        moments = _moments(clean, t, starts, u_starts, flights, zero, sigma, rig)
        speeds = _speeds(moments, setup, clean, contacts, dt, n_starts)
        earlier: list[LoadingFit | None] = [*loadings] or [None] * n_starts
        loadings = [_fit_start(w, v, rig, setup, f) for w, v, f in zip(windows, speeds, earlier, strict=True)]
        swinging = bool(flights) and flights[0].frequency.size > rig.frequency.size
        touches = _fit_plate(windows, loadings, speeds, rig, setup, suspect=swinging)
        fits = loadings if touches is None else touches
        starts = np.array([f.start for f in fits])
        u_starts = _u_starts(fits, rig, dt)
    plate_mass = 1.0 if touches is None else float(np.exp(touches[0].law.log_plate_mass))
    moments = _moments(clean, t, starts, u_starts, flights, zero, sigma, rig, plate_mass=plate_mass)
    speeds = _speeds(moments, setup, clean, contacts, dt, n_starts)
    return Train(
        starts,
        u_starts,
        t[np.minimum(contacts[:n_starts, 1], t.size - 1)],
        speeds,
        tuple(loadings),
        tuple(moments),
        tuple(flights),
        zero,
        sigma,
        force,
        contacts,
        rig,
        touches is not None,
    )


def _u_starts(fits: Sequence[LoadingFit] | Sequence[PlateFit], rig: Rig, dt: float) -> Floats:
    law = U_LAW
    if rig.frequency.size:
        law *= max((200.0 / float(rig.frequency.min())) ** 2, 1.0)
    # some six samples of each fit lie before the touch
    few = [U_FEW * dt / max(fit.n_samples - 6, 2) ** 2 for fit in fits]
    return np.asarray(np.hypot(np.hypot([fit.u_start for fit in fits], law), few), dtype=float)


class _Window(NamedTuple):
    """Samples around a contact start, with everything foretold taken off."""

    reading: Floats
    times: Floats
    u_reading: Floats
    guess: float


def _quiet_before(y: Floats, stop: int, rate: float, *, weight: float, longest: float = 1.5) -> slice:
    """
    Steady stretch that ends just before the drop; the mass may have been lifted off shortly before.
    """
    block = max(int(0.05 * rate), 4)
    n = min(int(longest * rate), stop) // block
    if n < 2:
        return slice(max(stop, 0), max(stop, 0))
    blocks = y[stop - n * block : stop].reshape(n, block)[::-1]
    means, spreads = blocks.mean(axis=1), blocks.std(axis=1)
    near = min(n, 4)
    level, spread = float(np.median(means[:near])), float(np.median(spreads[:near]))
    # ringing averages out over a block but for its ends; a drift of the zero is far smaller than this
    apart = np.abs(means - level) > max(6 * spread / np.sqrt(block), 0.1 * weight)
    apart |= spreads > 3 * spread + 0.05 * weight
    last = int(np.argmax(apart)) if apart.any() else n
    return slice(stop - last * block, stop)


def _zero_line(
    y: Floats, t: Floats, quiet: slice, flights: list[Flight], sigma: float, *, reference: float
) -> ZeroLine:
    n_parts = 4 if quiet.stop - quiet.start > 200 else 1
    parts = np.array_split(np.arange(quiet.start, quiet.stop), n_parts)
    at = [float(t[p].mean()) for p in parts]
    values = [float(y[p].mean()) for p in parts]
    u_values = [sigma / np.sqrt(p.size) for p in parts]
    for flight in flights:
        if flight.free:
            at.append((flight.release + flight.end) / 2)
            values.append(float(flight.fit.coefficients[0]))
            u_values.append(float(np.sqrt(flight.fit.covariance[0, 0])))
    return fit_zero(at, values, u_values, reference)


def _start_window(
    clean: Floats, t: Floats, begin: int, end: int, flight: Flight | None, sigma: float, zero: ZeroLine
) -> _Window:
    dt = t[1] - t[0]
    lead = max(int(0.012 / dt), 8)
    span = slice(max(begin - lead, 0), min(end, t.size))
    reading = clean[span].copy()
    u_reading = np.full(reading.size, sigma)
    if flight is not None:
        ringing, u_ringing = free_values(flight.fit, t[span], flight.frequency, flight.damping, zero=False)
        reading -= ringing
        u_reading = np.hypot(sigma, u_ringing)
    at = departure(reading, np.hypot(u_reading, zero.u_offset), threshold=6.0)
    i = at if at is not None else reading.size // 2
    return _Window(reading, t[span], u_reading, float(t[span][i] - 0.5e-3))


def _fit_start(
    window: _Window, speed: float, rig: Rig, setup: ClosureSetup, earlier: LoadingFit | None
) -> LoadingFit:
    """Fit the part of the loading in which the mass loses a third of its speed."""
    dt = window.times[1] - window.times[0]
    i = int(np.searchsorted(window.times, window.guess))
    begin = max(i - max(int(0.006 / dt), 6), 0)
    lost = np.cumsum(np.maximum(window.reading[i:], 0)) * dt / setup.mass
    end = i + max(int(np.searchsorted(lost, 0.3 * speed)), 3) + 1
    known = {"speed": speed, "mass": setup.mass, "gravity": setup.gravity}
    guess = window.guess if earlier is None else earlier.start
    law = None if earlier is None else (earlier.stiffness, earlier.exponent)
    fit = None
    for _ in range(6):
        trial = fit_loading(
            window.reading[begin:end],
            window.times[begin:end],
            u_reading=window.u_reading[begin:end],
            guess=guess,
            frequency=rig.frequency,
            damping=rig.damping,
            share=rig.share,
            low=rig.low,
            law=law,
            **known,
        )
        if fit is not None and trial.chi2 > 0.8 * fit.chi2:
            break
        fit, guess, law = trial, trial.start, (trial.stiffness, trial.exponent)
        # a slow rig shows the loading late: where the fitted mass has slowed down is what counts;
        # and the farther in, the less a pad follows a simple law
        slowed = fit.start + time_to_slow(fit.stiffness, fit.exponent, fraction=0.35, **known)
        last = int(np.searchsorted(window.times, slowed)) + 1
        if fit.chi2 > 1.5:
            last = min(last, i + int(0.75 * (end - i)))
        last = max(last, i + 4)
        if last >= end:
            break
        end = last
    assert fit is not None
    return fit


def _fit_plate(
    windows: list[_Window],
    loadings: list[LoadingFit],
    speeds: Floats,
    rig: Rig,
    setup: ClosureSetup,
    *,
    suspect: bool,
) -> list[PlateFit] | None:
    """
    Fit the starts through a plate where the first one tells of it: later pads remember, the first not.
    """
    single = loadings[0]
    if not suspect and single.chi2 < 5.0:
        return None
    fits: list[PlateFit] = []
    law, u_law, late = UNKNOWN, U_UNKNOWN, 0.0
    for window, loading, speed in zip(windows, loadings, speeds, strict=True):
        begin = int(np.searchsorted(window.times, window.guess - 0.007))
        dt = window.times[1] - window.times[0]
        lost = np.cumsum(np.maximum(window.reading[begin:], 0)) * dt / setup.mass
        end = begin + max(int(np.searchsorted(lost, 0.3 * speed)), 8) + 1
        if window.reading[begin:end].size < 8:
            return None
        fit = fit_plate_loading(
            window.reading[begin:end],
            window.times[begin:end],
            u_reading=window.u_reading[begin:end],
            guess=loading.start - late,
            speed=float(speed),
            mass=setup.mass,
            gravity=setup.gravity,
            frequency=rig.frequency,
            damping=rig.damping,
            share=rig.share,
            low=rig.low,
            law=law,
            u_law=u_law,
        )
        if not fits:
            if fit.chi2 > (1.0 if suspect else 0.6) * single.chi2:
                return None
            law, u_law, late = fit.law, U_SEEN, loading.start - fit.start
        fits.append(fit)
    return fits


def _moments(
    clean: Floats,
    t: Floats,
    starts: Floats,
    u_starts: Floats,
    flights: list[Flight],
    zero: ZeroLine,
    sigma: float,
    rig: Rig,
    *,
    plate_mass: float = 1.0,
) -> list[ForceMoments]:
    delay = ring_delay(rig.frequency, rig.damping, rig.share)
    # a section of second order delays by 2 zeta/omega, one of first (damping -1) by 1/omega
    delay += float(np.sum(np.where(rig.low[:, 1] < 0, 1.0, 2 * rig.low[:, 1]) / rig.low[:, 0]))
    found = []
    for k, flight in enumerate(flights):
        earlier = flights[k - 1] if k else None
        found.append(
            force_moments(
                clean,
                t,
                float(starts[k]),
                float(starts[k + 1]),
                noise=sigma,
                frequency=flight.frequency,
                damping=flight.damping,
                n_ring=rig.frequency.size,
                delay=delay,
                release=flight.release if flight.free else None,
                after=flight.fit if flight.free else None,
                before=earlier.fit if earlier is not None else None,
                before_modes=None if earlier is None else (earlier.frequency, earlier.damping),
                u_zero=zero.u_offset,
                u_drift=zero.u_slope,
                u_start=float(u_starts[k]),
                u_stop=float(u_starts[k + 1]),
                plate_mass=plate_mass,
            )
        )
    return found


def _speeds(
    moments: list[ForceMoments],
    setup: ClosureSetup,
    clean: Floats,
    contacts: NDArray[np.intp],
    dt: float,
    n_starts: int,
) -> Floats:
    """Speed at each start: from the interval after the first, from the interval before all others."""
    speeds = np.zeros(n_starts)
    if moments:
        speeds[0] = approach_speed(moments[0], setup).value
        for k, m in enumerate(moments):
            speeds[k + 1] = arrival_speed(m, setup).value
    else:
        a, b = contacts[0]
        # the impulse of an impact that is not followed by a flight, gravity's share taken off
        speeds[0] = float(clean[a:b].sum()) * dt / setup.mass - setup.gravity * (b - a) * dt
    return np.maximum(speeds, 0.05)
