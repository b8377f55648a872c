"""Strikes in a continuous recording: found in one pass, with memory bounded by the longest event."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics import _onset_scan as scan
from quintain.numerics._onset_contacts import CellContact, find_cell_contacts
from quintain.numerics._onset_level import find_first_level
from quintain.numerics.bad_samples import find_bad_samples, find_step

__all__ = ["Event", "StrikeScanner", "find_strikes"]

FloatArray = NDArray[np.float64]

CELL_RATE = 4000.0
"""Samples are averaged to cells of about this rate; contacts and rings of the trade are slower. [Hz]"""

HOP_TIME = 0.02
"""Quiet is judged in hops as long as a period of the mains (50 Hz; 60 Hz is met by the spread). [s]"""

MEMORY_TIME = 1.0
"""The zero is a line through the hops of this time. [s]"""

LONGEST_STRETCH = 12.0
"""A stretch of activity that goes on longer is cut, so that memory stays bounded. [s]"""

SETTLED_TIME = 10.0
"""A load that has lain still for so long is the new zero for good. [s]"""

TREMOR_SHARE = 0.015
"""What stays below this share of a strike near it in time is the rig, mount or floor trembling. [1]"""

TREMOR_BEFORE = 0.5
"""How long before a strike a tremor may be. [s]"""

TREMOR_AFTER = 1.0
"""How long after a strike a tremor may be. [s]"""

COARSE_SHARE = 0.28
"""So many neighbours are equal where Gaussian noise has a standard deviation of one converter step. [1]"""

CONTEXT_TIME = 0.3
"""So much of the recording before an activity is kept. [s]"""

GAP_TIME = 0.1
"""Samples missing for longer end an event. [s]"""


class Event(NamedTuple):
    """
    One strike in a recording, in absolute sample numbers.

    ``start`` is a first estimate of the first touch; ``stop`` is where the ringing has died, the next
    event begins, the scanner's patience ends or the recording does (exclusive). ``zero`` is the zero
    at ``start`` [N] with its ``drift`` [N/s], ``noise`` the standard deviation of one sample [N]; all
    three come from the quiet before. ``quiet_before`` and ``quiet_after`` are (first, stop) of the rest
    next to the event, empty where there was none. ``sign`` tells which way the force points.
    ``flags`` are codes documented in ``quintain.domain.flags``.
    """

    start: int
    stop: int
    contacts: tuple[tuple[int, int], ...]
    peak_index: int
    sign: int
    zero: float
    drift: float
    noise: float
    quiet_before: tuple[int, int]
    quiet_after: tuple[int, int]
    flags: tuple[str, ...]


class _Pending(NamedTuple):
    """An event that waits for what follows it."""

    event: Event
    height: float
    rested: bool


class StrikeScanner:
    r"""
    Find strikes in a recording that is handed over block by block.

    Parameters
    ----------
    rate : float
        Sampling rate. [Hz]
    natural_frequency : float or sequence of float, optional
        Natural frequencies of the rig; without them the decay is learned from each event. [Hz]
    damping_ratio : float or sequence of float, optional
        Damping ratios, one for each natural frequency. [1]
    threshold_sigmas : float
        A strike rises this many standard deviations of the quiet over the zero. [1]
    minimum_force : float
        A strike also rises over this. [N]
    merge_gap : float
        Contacts closer than this are one strike (common practice, no source). [s]
    quiet_time : float
        Rest wanted before a strike; less is flagged ``short-quiet``. [s]
    patience : float
        A force that stays on the pad this long after a blow ends the event. [s]
    limits : (float, float), optional
        Limits of the measuring range, for the flag ``clipped``. [N]
    held : int, optional
        So many equal samples in a row are ``held-samples``; see ``find_bad_samples``.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    *Rest.* Samples are averaged to cells of at least 0.25 ms. Hops of 20 ms whose mean agrees with the
    zero and whose spread agrees with the noise carry both on: the zero is a line through one second of
    them (drift only where it stands three standard uncertainties above nothing), the noise the median
    of their standard deviations, mains hum included. Rest that has settled elsewhere for a whole second
    becomes the new zero, and the next strike is flagged ``loaded-before``.

    *Activity* begins where two neighbouring cells leave the zero on the same side by
    ``max(threshold_sigmas * noise, minimum_force)``: a single sample hit by a discharge does not count.
    While the pad is loaded, and for ten seconds after a load has settled, a blow must in addition rise
    over it by 1.2 times the load, so that swaying or stepping off is no strike. Activity ends with two
    hops at rest on the zero, or, as ``no-return-to-zero``, with a quarter of a second at rest elsewhere or
    ``patience`` with a standing force.

    *Contacts.* Within the activity the free response of the rig is taken out and what still rises over
    the threshold, and over a share of the ringing at that moment, is a contact; see
    ``find_cell_contacts``. All contacts of one activity point the same way. What climbs less than three
    tenths of its height within 60 ms is a push, not a blow.

    *Tremors.* What stays below 1.5 % of a strike that comes less than half a second later,
    or came less than a second earlier, is no strike.

    *Double blows.* Two contacts are two strikes if, and only if, the time from the end of the one to the
    start of the next is at least ``merge_gap``. Else they are one strike, ``several-contacts``.

    The result does not depend on how the recording is cut into blocks.

    Examples
    --------
    >>> import numpy as np
    >>> time = np.arange(4000) / 2000
    >>> force = np.random.default_rng(1).normal(0, 3, time.size)
    >>> blow = (time > 1.0) & (time < 1.012)
    >>> force[blow] += 900 * np.sin(np.pi * (time[blow] - 1.0) / 0.012)
    >>> scanner = StrikeScanner(2000.0)
    >>> events = scanner.push(force[:1500], 0) + scanner.push(force[1500:], 1500) + scanner.finish()
    >>> [(e.start, e.contacts, e.sign) for e in events]
    [(2001, ((2001, 2023),), 1)]
    """

    def __init__(
        self,
        rate: float,
        *,
        natural_frequency: float | Sequence[float] | None = None,
        damping_ratio: float | Sequence[float] | None = None,
        threshold_sigmas: float = 6.0,
        minimum_force: float = 0.0,
        merge_gap: float = 0.027,
        quiet_time: float = 0.5,
        patience: float = 2.0,
        limits: tuple[float, float] | None = None,
        held: int | None = None,
    ) -> None:
        for name, value in (("rate", rate), ("threshold_sigmas", threshold_sigmas), ("patience", patience)):
            if not (np.isfinite(value) and value > 0):
                raise ValueError(f"{name} must be a finite number above 0, got {value}")
        for name, value in (
            ("minimum_force", minimum_force),
            ("merge_gap", merge_gap),
            ("quiet_time", quiet_time),
        ):
            if not (np.isfinite(value) and value >= 0):
                raise ValueError(f"{name} must be a finite number of at least 0, got {value}")
        self._rate = float(rate)
        self._modes = _pair_modes(natural_frequency, damping_ratio)
        self._sigmas = threshold_sigmas
        self._minimum_force = minimum_force
        self._merge_gap = merge_gap
        self._quiet_time = quiet_time
        self._patience = patience
        self._limits = limits
        self._held = held
        self._raw: FloatArray
        self._next: int
        self._raw_first: int
        self._begin(0)

    def push(self, samples: ArrayLike, first: int) -> list[Event]:
        """
        Take the next samples of the recording and return the events that are complete.

        Parameters
        ----------
        samples : array_like, shape (n,)
            Force or raw reading; missing samples are NaN. [N]
        first : int
            Number of the first of them in the recording. Where it does not follow on the samples before,
            the scanner starts anew, as after ``reset``.

        Returns
        -------
        list of Event
            In time order.

        Raises
        ------
        ValueError
            If ``samples`` has more than one dimension, or ``first`` lies before the samples so far.
        """
        samples = np.ascontiguousarray(samples, dtype=np.float64)
        if samples.ndim != 1:
            raise ValueError(f"samples must have one dimension, got shape {samples.shape}")
        events: list[Event] = []
        if first != self._next:
            events += self.reset(first)
        # long arrays are taken in pieces, so that memory stays bounded here too
        for begin in range(0, samples.size, 1 << 16):
            self._raw = np.concatenate([self._raw, samples[begin : begin + (1 << 16)]])
            self._next = self._raw_first + self._raw.size
            self._advance(events, ended=False)
        return events

    def reset(self, first: int) -> list[Event]:
        """
        Start anew at sample ``first``, after a gap in time, and return what was still open.

        Raises
        ------
        ValueError
            If ``first`` lies before the samples so far.
        """
        if first < self._next:
            raise ValueError(f"sample {first} was handed over already; the next one is {self._next}")
        events = self.finish()
        self._begin(first)
        return events

    def finish(self) -> list[Event]:
        """Close the recording and return the events that were still open."""
        events: list[Event] = []
        self._advance(events, ended=True)
        self._begin(self._next)
        return events

    # -- the state between blocks

    def _begin(self, first: int) -> None:
        self._raw = np.empty(0)
        self._raw_first = first  # number of the first sample kept
        self._origin = first  # where cells are counted from
        self._next = first
        self._ready = False
        self._cells: FloatArray = np.empty(0)
        self._cell_first = 0
        self._pending: list[_Pending] = []
        self._latest: _Pending | None = None  # the last event handed over

    def _prepare(self) -> None:
        """Choose cell and hop, and take zero and noise from the calmest part of the first second."""
        n = self._raw.size
        # recordings shorter than half a second are looked at through a proportionally finer grid
        scale = min(1.0, n / (0.5 * self._rate))
        self._width = max(1, int(scale * self._rate / CELL_RATE))
        self._cell_time = self._width / self._rate
        self._hop = max(6, round(scale * HOP_TIME / self._cell_time))
        n_hops = max(10, round(scale * MEMORY_TIME / (self._hop * self._cell_time)))
        self._f, self._i, self._ring, self._recent = scan.new_state(n_hops)
        means, within = self._average(self._raw)
        step = find_step(self._raw)
        level = find_first_level(
            means,
            within,
            width=self._width,
            hop=self._hop,
            step=step,
            n_needed=4 if n >= self._rate else 1,
        )
        self._set_floor(step, level.zero)
        self._f[scan.ZERO], self._f[scan.SLOPE] = level.zero, level.slope
        self._f[scan.SIGMA], self._f[scan.SIGMA_RAW] = level.sigma, level.sigma_raw
        self._f[scan.SPREAD] = level.spread
        self._ready = True

    def _set_floor(self, step: float, zero: float) -> None:
        """Below a converter step there is no knowledge: a uniform step has s.d. step / sqrt(12)."""
        self._step = step
        self._floor = max(step / float(np.sqrt(12)), 1e-12 * abs(zero), 1e-300)

    def _average(self, samples: FloatArray) -> tuple[FloatArray, FloatArray]:
        means = np.empty(samples.size // self._width)
        within = np.empty_like(means)
        scan.average_cells(samples, self._width, means, within)
        return means, within

    def _advance(self, events: list[Event], *, ended: bool) -> None:
        if not self._ready:
            if self._raw.size < self._rate and not (ended and self._raw.size):
                return
            if self._raw.size >= self._rate:
                # exactly one second decides, however much has come
                whole = self._raw
                self._raw = whole[: int(np.ceil(self._rate))]
                self._prepare()
                self._raw = whole
            else:
                self._prepare()
        done = self._cell_first + self._cells.size
        fresh, within = self._average(self._raw[self._offset(done) :])
        self._cells = np.concatenate([self._cells, fresh])
        used = 0
        while True:
            active_start = int(self._i[scan.START])
            room = fresh.size
            if self._i[scan.ACTIVE]:
                room = min(room, used + active_start + self._longest - int(self._i[scan.CELL]))
            count, reason = scan.scan_cells(
                fresh[used:room],
                within[used:room],
                self._f,
                self._i,
                self._ring,
                self._recent,
                self._width,
                self._hop,
                self._sigmas,
                self._floor,
                self._minimum_force,
                max(1, round(self._patience / (self._hop * self._cell_time))),
                max(3, round(0.25 / (self._hop * self._cell_time))),
                max(2, round(GAP_TIME / self._cell_time)),
                round(SETTLED_TIME / (self._hop * self._cell_time)),
            )
            used += count
            if reason != scan.RUNNING:
                self._close(reason)
            elif self._i[scan.ACTIVE] and self._i[scan.CELL] - self._i[scan.START] >= self._longest:
                self._cut()
            elif used >= fresh.size:
                break
        if ended and self._i[scan.ACTIVE]:
            self._i[scan.STOP] = self._i[scan.CELL]
            self._i[scan.ACTIVE] = 0
            self._close(scan.RUNNING)
        self._hand_over(events, ended=ended)
        self._forget()

    @property
    def _longest(self) -> int:
        return round(LONGEST_STRETCH / self._cell_time)

    def _offset(self, cell: int) -> int:
        """Place in the kept samples of the first sample of a cell."""
        return self._origin + cell * self._width - self._raw_first

    def _forget(self) -> None:
        """Drop what no later decision can ask for."""
        cell = int(self._i[scan.START] if self._i[scan.ACTIVE] else self._i[scan.CELL])
        keep = max(0, cell - round(CONTEXT_TIME / self._cell_time))
        if keep > self._cell_first:
            self._cells = self._cells[keep - self._cell_first :].copy()
            self._raw = self._raw[self._offset(keep) :].copy()
            self._raw_first = self._origin + keep * self._width
            self._cell_first = keep

    # -- from activity to events

    def _line(self) -> tuple[float, float, float]:
        return float(self._f[scan.ZERO]), float(self._f[scan.SLOPE]), float(self._f[scan.AT])

    def _strikes(self, start: int, stop: int) -> list[list[CellContact]]:
        """Contacts between two cells, grouped to strikes by the stated rule; cell numbers absolute."""
        begin = max(self._cell_first, start - round(CONTEXT_TIME / self._cell_time))
        d = self._cells[begin - self._cell_first : stop - self._cell_first]
        d = d - (
            self._f[scan.ZERO] + self._f[scan.SLOPE] * (np.arange(begin, begin + d.size) - self._f[scan.AT])
        )
        lost = np.isnan(d)
        if lost.all():
            return []
        if lost.any():
            places = np.arange(d.size)
            d[lost] = np.interp(places[lost], places[~lost], d[~lost])
        contacts = find_cell_contacts(
            d,
            self._sigma,
            high=self._high,
            cell_time=self._cell_time,
            begin=start - begin,
            modes=self._modes,
        )
        strikes: list[list[CellContact]] = []
        for contact in contacts:
            contact = contact._replace(
                first=contact.first + begin, last=contact.last + begin, peak=contact.peak + begin
            )
            if strikes and (contact.first - strikes[-1][-1].last - 1) * self._cell_time < self._merge_gap:
                strikes[-1].append(contact)
            else:
                strikes.append([contact])
        strikes = [
            [c for c in strike if c.height >= TREMOR_SHARE * max(o.height for o in strike)]
            for strike in strikes
        ]
        before, after = TREMOR_BEFORE / self._cell_time, TREMOR_AFTER / self._cell_time
        return [
            strike
            for strike in strikes
            if not any(
                _height(strike) < TREMOR_SHARE * _height(other)
                and -before < strike[0].first - other[-1].last < after
                for other in strikes
            )
        ]

    @property
    def _sigma(self) -> float:
        sigma: float = max(float(self._f[scan.SIGMA]), self._floor)
        return sigma

    @property
    def _high(self) -> float:
        noise = np.hypot(self._sigma, self._f[scan.SPREAD])
        high: float = max(self._sigmas * float(noise), self._minimum_force)
        return high

    def _close(self, reason: int) -> None:
        """Turn a closed stretch of activity into events."""
        start, stop = int(self._i[scan.START]), int(self._i[scan.STOP])
        if self._step == 0:
            # until now the channel stood still, and its step could not be seen
            self._set_floor(find_step(self._around(start, stop)), float(self._f[scan.ZERO]))
        strikes = self._strikes(start, stop)
        if self._i[scan.HAS_HOME]:
            # what points against the load that lies on the pad is the load leaving
            load = self._f[scan.ZERO] - self._f[scan.HOME]
            strikes = [strike for strike in strikes if abs(load) <= self._high or strike[0].sign * load > 0]
        self._add(strikes, start, stop, reason)
        scan.settle(self._f, self._i, self._ring, self._recent, reason == scan.CLOSED_QUIET)

    def _cut(self) -> None:
        """Bound the memory of a stretch that does not end: hand over all but its last strike."""
        start, now = int(self._i[scan.START]), int(self._i[scan.CELL])
        strikes = self._strikes(start, now)
        if len(strikes) > 1 and strikes[-1][0].first - 2 > start:
            follows = strikes[-1][0].first
            self._add(strikes[:-1], start, follows, scan.RUNNING, overlapped=True)
            self._i[scan.START] = follows - 2
            self._i[scan.QUIET_SINCE] = follows
            return
        self._i[scan.ACTIVE] = 0
        self._i[scan.STOP] = now
        self._add(strikes, start, now, scan.CLOSED_LOADED)
        scan.settle(self._f, self._i, self._ring, self._recent, False)

    def _add(
        self,
        strikes: list[list[CellContact]],
        start: int,
        stop: int,
        reason: int,
        *,
        overlapped: bool = False,
    ) -> None:
        for number, strike in enumerate(strikes):
            last = number == len(strikes) - 1
            ends = strikes[number + 1][0].first if not last else stop
            flags: set[str] = set()
            if not last or overlapped:
                flags.add("overlapping")
            elif reason in (scan.CLOSED_OFF_ZERO, scan.CLOSED_LOADED):
                flags.add("no-return-to-zero")
            elif reason in (scan.RUNNING, scan.CLOSED_GAP):
                flags.add("cut-off")
                if reason == scan.CLOSED_GAP:
                    flags.add("missing-samples")
            rested = last and not overlapped and reason == scan.CLOSED_QUIET
            event = self._describe(strike, start if number == 0 else None, ends, flags, rested=rested)
            self._append(_Pending(event, _height(strike), rested))

    def _append(self, new: _Pending) -> None:
        """Put an event behind those that wait, unless it or they are a tremor of the other."""
        start = new.event.start
        before, after = start - TREMOR_BEFORE * self._rate, start - TREMOR_AFTER * self._rate
        if self._pending:
            latest = self._pending[-1]
            quiet = latest.event.quiet_after
            if quiet[1] > start:
                event = latest.event._replace(quiet_after=(quiet[0], max(quiet[0], start)))
                self._pending[-1] = latest._replace(event=event)
        known = self._pending if self._latest is None else [self._latest, *self._pending]
        if any(new.height < TREMOR_SHARE * old.height and old.event.stop > after for old in known):
            return
        self._pending = [
            old
            for old in self._pending
            if not (old.height < TREMOR_SHARE * new.height and old.event.stop > before)
        ]
        self._pending.append(new)

    def _hand_over(self, events: list[Event], *, ended: bool) -> None:
        """Pass on the events that nothing to come can change."""
        cell = int(self._i[scan.START] if self._i[scan.ACTIVE] else self._i[scan.CELL] - 2)
        # a start may still be walked back by 10 ms or two cells
        horizon = self._origin + (cell - 3) * self._width - round(0.01 * self._rate)
        hold = max(TREMOR_BEFORE, self._quiet_time) * self._rate
        while self._pending and (ended or self._pending[0].event.stop + hold <= horizon):
            self._latest = self._pending.pop(0)
            event = self._latest.event
            quiet = event.quiet_after
            events.append(event._replace(quiet_after=(quiet[0], max(quiet[0], min(quiet[1], self._next)))))

    def _around(self, first: int, stop: int) -> FloatArray:
        """Samples of the cells ``first`` to ``stop`` and of the context before them."""
        begin = max(0, first - round(CONTEXT_TIME / self._cell_time))
        return self._raw[max(self._offset(begin), 0) : self._offset(stop)]

    def _describe(
        self,
        strike: list[CellContact],
        stretch_start: int | None,
        ends: int,
        flags: set[str],
        *,
        rested: bool,
    ) -> Event:
        width, origin = self._width, self._origin
        sign = strike[0].sign
        zero, slope, at = self._line()
        noise = max(float(self._f[scan.SIGMA_RAW]), self._floor)
        contacts = [(origin + c.first * width, origin + (c.last + 1) * width - 1) for c in strike]
        contacts = [(a, min(b, self._next - 1, origin + ends * width - 1)) for a, b in contacts]
        start = contacts[0][0]
        quiet = (start, start)
        drift = slope / self._cell_time
        zero_here = zero + slope * ((start - origin) / width - at)
        if stretch_start is None:
            flags |= {"loaded-before", "short-quiet"}
        else:
            if strike[0].first <= 1:
                flags.add("cut-off")
                start = contacts[0][0] if strike[0].first else origin
            elif not strike[0].slow:
                start = self._walk_back(start, zero_here, sign, noise)
            since = max(int(self._i[scan.QUIET_SINCE]), stretch_start - round(MEMORY_TIME / self._cell_time))
            rest_ends = min(start, origin + stretch_start * width)
            quiet = (min(origin + since * width, rest_ends), rest_ends)
            away = self._i[scan.HAS_HOME] and abs(self._f[scan.ZERO] - self._f[scan.HOME]) > self._high
            if self._i[scan.WAS_LOADED] or away or strike[0].slow:
                flags.add("loaded-before")
            if quiet[1] - quiet[0] < self._quiet_time * self._rate:
                flags.add("short-quiet")
        contacts[0] = (start, max(contacts[0][1], start))
        if len(contacts) > 1:
            flags.add("several-contacts")
        if max(c.height for c in strike) < 2 * self._high:
            flags.add("weak")
        stop = min(origin + ends * width, self._next)
        after = (stop, stop + round(self._quiet_time * self._rate) if rested else stop)
        body = self._raw[start - self._raw_first : contacts[-1][1] + 1 - self._raw_first]
        peak = start + int(np.nanargmax(np.where(np.isfinite(body), sign * body, -np.inf)))
        bad = find_bad_samples(
            self._raw[start - self._raw_first : stop - self._raw_first], limits=self._limits, held=self._held
        )
        flags |= {run.code for run in bad}
        seen = self._around(strike[0].first, ends)
        rest = seen[: seen.size - (origin + ends * width - quiet[1])]
        if rest.size >= 16 and np.mean(rest[1:] == rest[:-1]) > COARSE_SHARE:
            flags.add("coarse-steps")
            noise = max(noise, find_step(seen) / float(np.sqrt(12)))
        return Event(
            start, stop, tuple(contacts), peak, sign, zero_here, drift, noise, quiet, after,
            tuple(sorted(flags)),
        )  # fmt: skip

    def _walk_back(self, start: int, zero: float, sign: int, noise: float) -> int:
        """First sample of the unbroken rise that leads into a contact, at most 10 ms before it."""
        reach = max(2 * self._width, round(0.01 * self._rate))
        low = max(start + self._width - reach, self._raw_first)
        piece = sign * (self._raw[low - self._raw_first : start + self._width - self._raw_first] - zero)
        below = np.flatnonzero(~(piece > 1.5 * noise))
        inside = below[below < piece.size - 1]
        return low + int(inside[-1]) + 1 if inside.size else start


def _height(strike: list[CellContact]) -> float:
    return max(float(contact.height) for contact in strike)


def _pair_modes(
    frequency: float | Sequence[float] | None, damping: float | Sequence[float] | None
) -> tuple[tuple[float, float], ...]:
    if frequency is None and damping is None:
        return ()
    if frequency is None or damping is None:
        raise ValueError("natural_frequency and damping_ratio are given together, or neither")
    frequencies, dampings = np.atleast_1d(frequency), np.atleast_1d(damping)
    if frequencies.shape != dampings.shape:
        raise ValueError(
            f"one damping_ratio for each natural_frequency: got {dampings.size} for {frequencies.size}"
        )
    if not (np.isfinite(frequencies).all() and (frequencies > 0).all()):
        raise ValueError(f"natural_frequency must be above 0 Hz, got {frequency}")
    if not ((dampings >= 0) & (dampings < 1)).all():
        raise ValueError(f"damping_ratio must lie in [0, 1), got {damping}")
    return tuple((float(f), float(z)) for f, z in zip(frequencies, dampings, strict=True))


def find_strikes(
    samples: ArrayLike,
    rate: float,
    *,
    natural_frequency: float | Sequence[float] | None = None,
    damping_ratio: float | Sequence[float] | None = None,
    threshold_sigmas: float = 6.0,
    minimum_force: float = 0.0,
    merge_gap: float = 0.027,
    quiet_time: float = 0.5,
    patience: float = 2.0,
    limits: tuple[float, float] | None = None,
    held: int | None = None,
) -> list[Event]:
    """
    Find the strikes in a recording that lies in memory.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Force or raw reading; missing samples are NaN. [N]
    rate : float
        Sampling rate. [Hz]
    natural_frequency, damping_ratio, threshold_sigmas, minimum_force, merge_gap, quiet_time, patience, \
limits, held
        As for :class:`StrikeScanner`, whose single pass this is.

    Returns
    -------
    list of Event
        In time order.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Examples
    --------
    >>> import numpy as np
    >>> force = np.random.default_rng(1).normal(0, 3, 4000)
    >>> find_strikes(force, 2000.0)
    []
    """
    scanner = StrikeScanner(
        rate,
        natural_frequency=natural_frequency,
        damping_ratio=damping_ratio,
        threshold_sigmas=threshold_sigmas,
        minimum_force=minimum_force,
        merge_gap=merge_gap,
        quiet_time=quiet_time,
        patience=patience,
        limits=limits,
        held=held,
    )
    return scanner.push(samples, 0) + scanner.finish()
