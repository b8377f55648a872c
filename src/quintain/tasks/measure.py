"""One event of a recording becomes one strike: the path of the force, straight, from sample to number."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.domain.flags import FLAGS, Flag, flag
from quintain.domain.measured import Contribution, Measured
from quintain.domain.method import Method
from quintain.domain.rig import AntiAlias, Mode, Plate, Rig
from quintain.domain.strike import Contact, ForceCurve, Strike
from quintain.numerics import pulse
from quintain.numerics.bad_samples import find_bad_samples
from quintain.numerics.cfc import filter_cfc
from quintain.numerics.contact_force import PlateOnPad, recover_contact_force
from quintain.numerics.inverse import invert_second_order
from quintain.numerics.onset import Event
from quintain.numerics.quiet import Zero, ZeroLine, measure_zero, zero_line
from quintain.numerics.ringing import CorrectedForce, remove_ringing
from quintain.numerics.sampling import sampling_error_of_impulse, sampling_loss
from quintain.numerics.uncertainty.linear import Estimate

__all__ = ["RigInUse", "Window", "measure_strike"]

Floats = NDArray[np.float64]

LEAD = 0.003
"""The impulse is integrated from this long before the first touch the scanner saw. [s]"""

NEARLY = 0.9995
"""Part of the stated range at which a reading counts as clipped."""

DISAGREEMENT = 3.0
"""Smoother and inverse filter disagree beyond this many standard uncertainties (and 2 % of the peak)."""


class Window(NamedTuple):
    """An event with its surroundings; indices in ``event`` count in the whole recording."""

    samples: Floats
    """As recorded, in the direction and unit of the channel. [N]"""
    first: int
    """Index of the first of them in the recording."""
    start: float
    """Time of that sample on the recording's clock. [s]"""
    rate: float
    event: Event
    join: str = ""
    """Break in time next to the event, if any."""


@dataclass(frozen=True, slots=True)
class RigInUse:
    """What the analysis uses of the rig: from its file, or found in the recording itself."""

    modes: tuple[Mode, ...]
    from_recording: bool
    anti_alias: AntiAlias | None
    gain: float
    u_gain: float | None
    lowest: float | None
    highest: float | None
    safe_overload: float | None
    range_limit: float | None
    sign: int
    """+1 or -1 as a push reads; 0 if not stated."""
    plate: Plate | None = None

    @property
    def limits(self) -> tuple[float, float] | None:
        """Readings on or beyond these are clipped; a converter's last code lies a step inside its range."""
        limit = self.range_limit
        return None if limit is None else (-NEARLY * limit, NEARLY * limit)

    @classmethod
    def of(cls, rig: Rig | None) -> RigInUse:
        """Take what a rig file states."""
        if rig is None:
            return cls((), False, None, 1.0, None, None, None, None, None, 0)
        cell, calibration = rig.cell, rig.calibration
        return cls(
            rig.modes,
            False,
            rig.anti_alias,
            calibration.gain,
            calibration.u_gain,
            calibration.lowest,
            calibration.highest,
            cell.safe_overload,
            cell.range_limit,
            -1 if cell.direction == "negative" else 1,
            rig.plate,
        )

    def with_modes(self, modes: Iterable[Mode]) -> RigInUse:
        """The same rig with modes found in the recording."""
        return replace(self, modes=tuple(modes), from_recording=True)


class _Trimmed(NamedTuple):
    """The event in newtons above zero, positive into the pad; indices count within ``force``."""

    force: Floats
    rate: float
    zero: ZeroLine
    noise: float
    u_noise: float
    contact: tuple[int, int]
    stop: int
    n_free: int
    """Samples of free ringing between the last contact and ``stop``."""
    flags: list[Flag]
    withheld: set[str]


def measure_strike(window: Window, rig: RigInUse, method: Method, number: int) -> Strike:
    """
    Measure one strike.

    Parameters
    ----------
    window : Window
        The event with the rest around it.
    rig : RigInUse
        How the rig rings, its gain and limits.
    method : Method
        All settings.
    number : int
        Place in the recording, from 1.

    Returns
    -------
    Strike
        Quantities with uncertainty; those not in it are not stated, and a flag says why.
    """
    event = _trim(window, rig)
    raw = _raw_quantities(event, rig, method)
    corrected = _correct(event, rig, method)
    if corrected is None:
        quantities = raw | _contact_from_samples(event)
        first_touch = event.contact[0] / event.rate
        contacts: tuple[tuple[float, float], ...] = (
            (event.contact[0] / event.rate, event.contact[1] / event.rate),
        )
    else:
        offset, force = corrected
        more, contacts = _corrected_quantities(event, offset, force, rig, method, window)
        quantities = raw | more | _at_the_glove(event, offset, force, rig, method)
        first_touch = contacts[0][0]
    quantities = _with_expectations(quantities, event)
    _check_limits(quantities, event, rig)
    stated = {name: q for name, q in quantities.items() if name not in event.withheld}
    origin = window.start
    return Strike(
        number=number,
        start=origin + first_touch,
        contacts=tuple(Contact(origin + a, origin + b) for a, b in contacts),
        quantities=stated,
        flags=tuple(_unique(event.flags)),
        curve=_curve(event, corrected, first_touch),
        modes=_refined_modes(rig, corrected),
        periods_in_pulse=None if corrected is None else corrected[1].periods_in_pulse,
        samples_in_pulse=None if corrected is None else corrected[1].samples_in_pulse,
    )


# -- before any correction


def _trim(window: Window, rig: RigInUse) -> _Trimmed:
    event, rate, samples = window.event, window.rate, window.samples
    flags: list[Flag] = []
    for code in event.flags:
        _raise(flags, "ring-cut" if code == "cut-off" and _only_ring_is_cut(window, rig) else code)
    if window.join:
        _raise(flags, window.join)
    inside = slice(max(event.start - window.first - 1, 0), event.stop - window.first)
    for code, count in _bad_samples(samples[inside], rig).items():
        flags = [f for f in flags if f.code != code]
        _raise(flags, code, f"{count} samples")
    zero, noise, u_noise = _zero_line(window, flags)
    sign = rig.sign or event.sign
    if event.sign != sign:
        _raise(flags, "wrong-direction")
        sign = event.sign
    time = np.arange(samples.size) / rate
    force = sign * rig.gain * (samples - zero.at(time))
    if rig.u_gain is None:
        _raise(flags, "gain-unknown")
    withheld = {name for f in flags for name in FLAGS[f.code].withholds}
    contact = (event.contacts[0][0] - window.first, event.contacts[-1][1] - window.first)
    stop = min(event.stop - window.first, samples.size)
    return _Trimmed(
        force=force,
        rate=rate,
        zero=zero,
        noise=rig.gain * noise,
        u_noise=rig.gain * u_noise,
        contact=contact,
        stop=stop,
        n_free=_free_samples(window),
        flags=flags,
        withheld=withheld,
    )


def _only_ring_is_cut(window: Window, rig: RigInUse) -> bool:
    """Whether the contact is whole and enough free ringing follows to know what the rest of it adds."""
    event = window.event
    began_inside = event.quiet_before[1] <= event.quiet_before[0]
    return bool(rig.modes) and not began_inside and _free_samples(window) >= 2 * len(rig.modes) + 4


def _free_samples(window: Window) -> int:
    """Samples between the last contact and the end of the event."""
    return max(window.event.stop - window.event.contacts[-1][1] - 2, 0)


def _bad_samples(samples: Floats, rig: RigInUse) -> dict[str, int]:
    """Count by code. A chain may saturate below its stated limit, so the plateau itself is looked for too."""
    runs = find_bad_samples(samples)
    if rig.limits is not None:
        runs += find_bad_samples(samples, limits=rig.limits)
    clipped = {i for run in runs if run.code == "clipped" for i in range(run.first, run.last + 1)}
    counts = {"clipped": len(clipped)} if clipped else {}
    for run in runs:
        if run.code != "clipped" and run.first not in clipped:
            counts[run.code] = run.last - run.first + 1
    return counts


def _zero_line(window: Window, flags: list[Flag]) -> tuple[ZeroLine, float, float]:
    event, rate = window.event, window.rate
    before = _rest(window, event.quiet_before)
    codes = {f.code for f in flags}
    after = None if "no-return-to-zero" in codes else _rest(window, event.quiet_after)
    if before is None:
        # no rest of its own: the scanner's running zero, doubted by one sample's noise
        at = (event.start - window.first) / rate
        before = Zero(at, event.zero, max(event.noise, 1e-12), event.drift, 0.0, event.noise, 1, 0.0, False)
    elif before.coarse:
        _raise(flags, "coarse-steps")
    noise = max(before.noise, before.step / math.sqrt(12), 1e-9)
    if after is not None and after.time <= before.time:
        after = None
    # standard deviation of a standard deviation of normal noise (JCGM 100:2008, E.4.3)
    return zero_line(before, after), noise, noise / math.sqrt(2 * max(before.n - 1, 1))


def _rest(window: Window, stretch: tuple[int, int]) -> Zero | None:
    first, stop = (max(i - window.first, 0) for i in stretch)
    rest = window.samples[first:stop]
    if np.count_nonzero(np.isfinite(rest)) < 8:
        return None
    return measure_zero(rest, window.rate, first=first)


def _raw_quantities(event: _Trimmed, rig: RigInUse, method: Method) -> dict[str, Measured]:
    force, rate, noise = event.force, event.rate, event.noise
    u_gain = rig.u_gain or 0.0
    inside = force[event.contact[0] : event.stop]
    quantities = {"noise": Measured("noise", noise, event.u_noise)}
    if np.isfinite(inside).any():
        i_peak = event.contact[0] + int(np.nanargmax(inside))
        peak = float(force[i_peak])
        zero = float(event.zero.u_at(i_peak / rate))
        quantities["peak_force_raw"] = Measured.of(
            "peak_force_raw",
            peak,
            [Contribution("noise", noise), Contribution("zero", zero), Contribution("gain", peak * u_gain)],
        )
    first = max(event.contact[0] - max(2, round(LEAD * rate)), 0)
    whole = force[first : event.stop]
    if whole.size < 2 or not np.isfinite(whole).all():
        event.withheld.update(("impulse", "peak_force", "rate_of_force_development"))
        return quantities
    modes = [(mode.natural_frequency, mode.damping_ratio) for mode in rig.modes]
    n_free = event.n_free
    still = bool(modes) and n_free >= 2 * len(modes) + 4
    estimate = pulse.impulse_with_zero(
        whole,
        rate,
        u_noise=noise,
        u_zero=rig.gain * event.zero.u_value,
        u_drift=rig.gain * event.zero.u_slope,
        zero_lag=first / rate - event.zero.time,
        u_gain=u_gain,
        u_sampling=_sampling_error(event, rig),
        modes=modes if still else (),
        n_free=n_free if still else 0,
    )
    quantities["impulse"] = _measured("impulse", estimate)
    if method.correction.cfc:
        try:
            filtered = filter_cfc(np.nan_to_num(force), rate, method.correction.cfc)
        except ValueError:
            _raise(event.flags, "cfc-rate", f"CFC {method.correction.cfc} at {rate:g} Hz")
        else:
            _raise(event.flags, "cfc-shown")
            quantities["peak_force_cfc"] = Measured(
                "peak_force_cfc", float(filtered[event.contact[0] : event.stop].max()), None
            )
    return quantities


def _sampling_error(event: _Trimmed, rig: RigInUse) -> float:
    """Ringing spreads the pulse over more samples, so a known mode makes the sum over samples better."""
    n = float(max(event.contact[1] - event.contact[0], 2))
    slowest = min(rig.modes, key=lambda mode: mode.natural_frequency, default=None)
    if slowest is None or slowest.natural_frequency >= event.rate:
        return sampling_error_of_impulse(n)
    return sampling_error_of_impulse(
        n,
        rate_over_frequency=event.rate / slowest.natural_frequency,
        damping_ratio=slowest.damping_ratio,
    )


def _contact_from_samples(event: _Trimmed) -> dict[str, Measured]:
    """Without a correction the scanner's contact is all there is, good to a sample or two at each end."""
    duration = (event.contact[1] - event.contact[0] + 1) / event.rate
    edge = 1.5 / event.rate
    contributions = [Contribution("start", edge), Contribution("end", edge)]
    return {"contact_time": Measured.of("contact_time", duration, contributions)}


# -- the correction


def _correct(event: _Trimmed, rig: RigInUse, method: Method) -> tuple[int, CorrectedForce] | None:
    if method.correction.kind == "none":
        return None
    if not rig.modes:
        _raise(event.flags, "no-mode")
        return None
    if rig.from_recording:
        _raise(event.flags, "mode-from-recording")
    if {"peak_force"} & event.withheld:
        return None
    slowest = min(mode.natural_frequency for mode in rig.modes)
    if slowest > 0.45 * event.rate:
        _raise(event.flags, "rate-too-low", f"{slowest:.0f} Hz, sampled at {event.rate:g} Hz")
        return None
    before = round(event.rate * max(0.02, 4 / slowest)) + 10
    after = round(event.rate * max(0.06, 10 / slowest)) + 10
    first = max(event.contact[0] - before, 0)
    last = min(event.contact[1] + after, event.force.size, max(event.stop, event.contact[1] + 10))
    grid = min(method.correction.grid, max(1, math.ceil(160 * slowest / event.rate)))
    u_frequency = [mode.u_natural_frequency for mode in rig.modes]
    u_damping = [mode.u_damping_ratio for mode in rig.modes]
    force = remove_ringing(
        event.force[first:last],
        event.rate,
        natural_frequency=[mode.natural_frequency for mode in rig.modes],
        damping_ratio=[mode.damping_ratio for mode in rig.modes],
        share=[mode.share for mode in rig.modes],
        noise=event.noise,
        u_natural_frequency=None if None in u_frequency else u_frequency,
        u_damping_ratio=None if None in u_damping else u_damping,
        anti_alias_cutoff=rig.anti_alias.cutoff if rig.anti_alias else None,
        anti_alias_order=rig.anti_alias.order if rig.anti_alias else 4,
        contact=(event.contact[0] - first, min(event.contact[1], last - 1) - first),
        refine=method.correction.refine,
        grid=grid,
    )
    for code in force.flags:
        _raise(event.flags, code)
    event.withheld.update(name for code in force.flags for name in FLAGS[code].withholds)
    return first, force


def _corrected_quantities(
    event: _Trimmed, offset: int, force: CorrectedForce, rig: RigInUse, method: Method, window: Window
) -> tuple[dict[str, Measured], tuple[tuple[float, float], ...]]:
    u_gain = rig.u_gain or 0.0
    shift = offset / event.rate
    contributions = [Contribution(name, u) for name, u in force.contributions.items()]
    at_peak = float(event.zero.u_at(shift + force.time_of_peak)) * rig.gain
    contributions += [Contribution("gain", force.peak_force * u_gain), Contribution("zero", at_peak)]
    quantities = {"peak_force": Measured.of("peak_force", force.peak_force, contributions)}
    curve = (force.force, force.time, force.u_force)
    rise = (method.pulse.rise_from, method.pulse.rise_to)
    contacts = _contacts(event, offset, force, window)
    readings: dict[str, Callable[[], Estimate]] = {
        "time_to_peak": lambda: pulse.time_to_peak(*curve),
        "rate_of_force_development": lambda: pulse.rate_of_force_development(
            *curve, window=rise, u_gain=u_gain
        ),
        "impulse_to_peak": lambda: pulse.impulse_of_corrected_force(
            *curve, start=contacts[0][0] - shift, end=force.time_of_peak, u_gain=u_gain
        ),
        "contact_time": lambda: _contact_time(curve, contacts),
    }
    if method.pulse.stop_after:
        begin = contacts[0][0] - shift
        readings["impulse_to_stop"] = lambda: pulse.impulse_of_corrected_force(
            *curve, start=begin, end=begin + method.pulse.stop_after, u_gain=u_gain
        )
    for name, reading in readings.items():
        try:
            quantities[name] = _measured(name, reading())
        except ValueError:
            # the curve does not hold the place this quantity is read at: say so, state nothing
            _raise(event.flags, "not-readable", f"Not stated: {name.replace('_', ' ')}")
    _cross_check(event, offset, force, rig)
    return quantities, contacts


def _at_the_glove(
    event: _Trimmed, offset: int, force: CorrectedForce, rig: RigInUse, method: Method
) -> dict[str, Measured]:
    """Force between limb and pad, only where it was asked for."""
    if not method.correction.contact_force:
        return {}
    if rig.plate is None or len(rig.modes) != 1:
        _raise(event.flags, "no-plate", "The rig file needs a [plate] and exactly one mode of the cell")
        return {}
    mode = rig.modes[0]
    last = offset + math.ceil(force.time[-1] * event.rate) + 1
    try:
        glove = recover_contact_force(
            event.force[offset:last],
            event.rate,
            natural_frequency=mode.natural_frequency,
            damping_ratio=mode.damping_ratio,
            plate=PlateOnPad(*dataclasses.astuple(rig.plate)),
            noise=event.noise,
            anti_alias_cutoff=rig.anti_alias.cutoff if rig.anti_alias else None,
            anti_alias_order=rig.anti_alias.order if rig.anti_alias else 4,
        )
    except ValueError as problem:
        _raise(event.flags, "no-plate", str(problem))
        return {}
    parts = [Contribution(name, u) for name, u in glove.contributions.items()]
    parts.append(Contribution("gain", glove.peak_force * (rig.u_gain or 0.0)))
    return {"peak_contact_force": Measured.of("peak_contact_force", glove.peak_force, parts)}


def _contacts(
    event: _Trimmed, offset: int, force: CorrectedForce, window: Window
) -> tuple[tuple[float, float], ...]:
    """Contacts on the corrected force, refined where its curve allows; seconds from the window's start."""
    shift, rate = offset / event.rate, event.rate
    spans = [((a - window.first) / rate, (b - window.first) / rate) for a, b in window.event.contacts]
    found = []
    for i, (a, b) in enumerate(spans):
        low = (spans[i - 1][1] + a) / 2 if i else -math.inf
        high = (b + spans[i + 1][0]) / 2 if i + 1 < len(spans) else math.inf
        part = (force.time + shift >= low) & (force.time + shift <= high)
        try:
            here = pulse.find_contact(force.force[part], force.time[part], force.u_force[part])
            found.append((here.start + shift, here.end + shift))
        except ValueError:
            found.append((a, b))
    return tuple(found)


def _contact_time(
    curve: tuple[Floats, Floats, Floats], contacts: tuple[tuple[float, float], ...]
) -> Estimate:
    if len(contacts) == 1:
        return pulse.contact_time(*curve)
    main = pulse.contact_time(*curve)
    return Estimate(contacts[-1][1] - contacts[0][0], main.u, main.contributions)


def _cross_check(event: _Trimmed, offset: int, force: CorrectedForce, rig: RigInUse) -> None:
    """The plain inverse filter is a fair witness where the pulse spans two periods of the rig or more."""
    if force.periods_in_pulse < 2 or force.samples_in_pulse < 8 or rig.anti_alias:
        return
    part = event.force[offset : offset + math.ceil(force.time[-1] * event.rate) + 1]
    other = invert_second_order(
        part,
        event.rate,
        natural_frequency=list(force.natural_frequency),
        damping_ratio=list(force.damping_ratio),
        share=[mode.share for mode in rig.modes],
    )
    difference = abs(float(np.max(other)) - force.peak_force)
    if difference > max(DISAGREEMENT * force.u_peak_force, 0.02 * force.peak_force):
        _raise(event.flags, "methods-disagree", f"{difference / force.peak_force:.1%} of the peak")


# -- what follows from the others


def _with_expectations(quantities: dict[str, Measured], event: _Trimmed) -> dict[str, Measured]:
    impulse, duration = quantities.get("impulse"), quantities.get("contact_time")
    if impulse is None or duration is None or impulse.value <= 0 or duration.value <= 0:
        return quantities
    expected = pulse.expected_peak(
        impulse.value, duration.value, u_impulse=impulse.u or 0, u_duration=duration.u or 0
    )
    loss = sampling_loss(max(duration.value * event.rate, 1.0))
    return quantities | {
        "expected_peak": _measured("expected_peak", expected),
        "sampling_loss": Measured("sampling_loss", loss.worst, 0.0),
    }


def _check_limits(quantities: dict[str, Measured], event: _Trimmed, rig: RigInUse) -> None:
    raw = quantities.get("peak_force_raw")
    if raw is not None and rig.safe_overload is not None and raw.value > rig.safe_overload:
        _raise(event.flags, "overload", f"{raw.value:.0f} N, safe up to {rig.safe_overload:.0f} N")
    peak = quantities.get("peak_force")
    if peak is None:
        return
    if rig.highest is not None and peak.value > rig.highest:
        _raise(event.flags, "beyond-calibration", f"{peak.value:.0f} N, proved up to {rig.highest:.0f} N")
    if rig.lowest is not None and peak.value < rig.lowest:
        _raise(event.flags, "beyond-calibration", f"{peak.value:.0f} N, proved from {rig.lowest:.0f} N")


def _curve(event: _Trimmed, corrected: tuple[int, CorrectedForce] | None, start: float) -> ForceCurve:
    empty = np.empty(0)
    if corrected is None:
        lead = round(0.05 * event.rate)
        first, last = max(event.contact[0] - lead, 0), min(event.contact[1] + 3 * lead, event.force.size)
        curve: tuple[Floats, Floats, Floats] = (empty, empty, empty)
    else:
        first, force = corrected
        last = first + math.ceil(force.time[-1] * event.rate) + 1
        curve = (force.time + first / event.rate - start, force.force, force.u_force)
    raw = event.force[first:last].copy()
    return ForceCurve(np.arange(first, first + raw.size) / event.rate - start, raw, *curve)


def _refined_modes(rig: RigInUse, corrected: tuple[int, CorrectedForce] | None) -> tuple[Mode, ...]:
    if corrected is None:
        return rig.modes
    force = corrected[1]
    return tuple(
        Mode(float(f), float(z), mode.share, float(uf), float(uz))
        for mode, f, z, uf, uz in zip(
            rig.modes,
            force.natural_frequency,
            force.damping_ratio,
            force.u_natural_frequency,
            force.u_damping_ratio,
            strict=True,
        )
    )


def _measured(name: str, estimate: Estimate) -> Measured:
    return Measured.of(name, estimate.value, [Contribution(c.name, c.u) for c in estimate.contributions])


def _raise(flags: list[Flag], code: str, detail: str = "") -> None:
    flags.append(flag(code, detail))


def _unique(flags: list[Flag]) -> list[Flag]:
    return list({f.code: f for f in flags}.values())
