"""
Speed and power of the limb under the force of the same strike: three charts on one axis of time.

The chart of speed draws the definition of effective mass: the speed the limb would have reached by its
stop, which the impulse to the stop is divided by.
"""

from __future__ import annotations

import numpy as np

from quintain.domain.strike import LimbCurve, Strike
from quintain.report.figures.axes import area, line, text, thin
from quintain.report.figures.frame import CHARACTER, Frame, Margins, frame, ground, whole
from quintain.report.figures.strike import COVERAGE, window
from quintain.report.rounding import number, shown

__all__ = ["describe_power", "describe_speed", "draw_power", "draw_speed"]

_MARGINS = Margins(top=44)
_KILOWATTS_FROM = 5_000.0
"""Powers from here on are drawn in kilowatts. [W]"""


def draw_speed(strike: Strike, *, height: int = 160) -> str:
    """
    Draw the speed of the limb with its 95 % band, its stop and the definition of effective mass.

    Parameters
    ----------
    strike : Strike
        With a limb's curve; empty text is returned where there is none.
    height : int
        Height of the figure; width and margins at the sides are those of the strike's force. [px]

    Returns
    -------
    str
        ``<svg class="chart" ...>``, or nothing.
    """
    limb = strike.limb
    if limb is None or limb.speed.size < 2:
        return ""
    low, high = window(strike)
    held = (limb.time >= low) & (limb.time <= high)
    if held.sum() < 2:
        return ""
    time, speed, half = limb.time[held], limb.speed[held], COVERAGE * limb.u_speed[held]
    values = np.concatenate([[0.0], speed - half, speed + half])
    place = frame(
        (low, high), (float(values.min()), float(values.max())), height=height, margins=_MARGINS, x_factor=1e3
    )
    x = place.x.many(time)
    parts = [
        *ground(place, "Speed of the limb, m/s", "ms"),
        area(x, place.y.many(speed - half), place.y.many(speed + half), "band"),
        line(*thin(x, place.y.many(speed), place.right - place.left), "cor"),
        *_stop(strike, limb, place),
        *_definition(strike, limb, place),
    ]
    return whole(place, describe_speed(strike), parts)


def draw_power(strike: Strike, *, height: int = 160) -> str:
    """
    Draw the power of the limb on the pad; arguments and answer as for :func:`draw_speed`.

    The shaded area up to the stop is the energy into the pad.
    """
    limb = strike.limb
    if limb is None or limb.power.size < 2:
        return ""
    low, high = window(strike)
    held = (limb.power_time >= low) & (limb.power_time <= high)
    time, power = limb.power_time[held], limb.power[held]
    if time.size < 2:
        return ""
    factor = 1e-3 if power.max() >= _KILOWATTS_FROM else 1.0
    ends = min(0.0, float(power.min())), max(0.0, float(power.max()))
    place = frame((low, high), ends, height=height, margins=_MARGINS, x_factor=1e3, y_factor=factor)
    x, y = thin(place.x.many(time), place.y.many(power), place.right - place.left)
    energy = strike.quantities.get("energy")
    parts = ground(place, f"Power on the pad, {'W' if factor == 1 else 'kW'}", "ms")
    if limb.stop is not None:
        inside = x <= place.x(limb.stop)
        parts.append(area(x[inside], np.full(inside.sum(), place.y(0)), y[inside], "pale"))
    parts += [line(x, y, "cor"), *_stop(strike, limb, place)]
    if energy is not None and limb.stop is not None:
        middle = place.x(0.5 * limb.stop)
        parts.append(text(middle, place.y(0) - 8, f"energy {shown(energy).text}", ("lab-a", "mid")))
    return whole(place, describe_power(strike), parts)


def describe_speed(strike: Strike) -> str:
    """The chart of speed in one sentence."""
    speed, stop = strike.quantities.get("approach_speed"), strike.quantities.get("time_to_stop")
    tail = f"; approach speed {shown(speed).text}" if speed else ""
    tail += f", stop after {shown(stop).text}" if stop else ""
    return f"Speed of the limb against time, strike {strike.number}, with its 95 % band{tail}."


def describe_power(strike: Strike) -> str:
    """The chart of power in one sentence."""
    peak = strike.quantities.get("peak_power")
    tail = f"; peak {shown(peak).text}" if peak else ""
    return f"Power of the limb on the pad against time, strike {strike.number}{tail}."


def _stop(strike: Strike, limb: LimbCurve, place: Frame) -> list[str]:
    if limb.stop is None or not place.x.holds(limb.stop):
        return []
    at = place.x(limb.stop)
    stated = strike.quantities.get("time_to_stop")
    words = f"limb stops, {shown(stated).text}" if stated else f"limb stops, {number(1e3 * limb.stop, 3)} ms"
    return [
        f'<path class="event" d="M{at:.1f} {_MARGINS.top - 18}V{place.foot}"/>',
        text(at + 5, _MARGINS.top - 8, words, ("lab-k",)),
    ]


def _definition(strike: Strike, limb: LimbCurve, place: Frame) -> list[str]:
    """The straight line from the approach speed to what would have been reached by the stop."""
    found = strike.quantities
    if limb.stop is None or not {"approach_speed", "effective_mass", "impulse_to_stop"} <= set(found):
        return []
    impulse, mass = found["impulse_to_stop"], found["effective_mass"]
    reached = impulse.value / mass.value
    first, last = place.x(limb.touch or 0.0), place.x(limb.stop)
    top, began = place.y(reached), place.y(found["approach_speed"].value)
    words = (
        f"m = J(t_z) / (v\u2081 + a\u2080 t_z) = {number(impulse.value, 3)} N s / {number(reached, 3)} m/s "
        f"= {shown(mass).text}"
    )
    at = last + 8
    anchor: tuple[str, ...] = ()
    if at + CHARACTER * len(words) > place.right:
        at, anchor = place.right, ("fin",)
    return [
        f'<path class="limit" d="M{first:.1f} {began:.1f}L{last:.1f} {top:.1f}"/>',
        text(at, max(top + 4, _MARGINS.top + 12), words, ("lab", *anchor)),
    ]
