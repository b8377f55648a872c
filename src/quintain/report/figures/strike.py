"""
The force of one strike against time: raw trace behind, corrected force with its 95 % band before it.

Written as SVG by hand: see docs/decisions for why no plotting library draws it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quintain.domain.strike import ForceCurve, Strike
from quintain.report.figures.axes import area, dots, line, text, thin
from quintain.report.figures.frame import CHARACTER, WIDTH, Frame, Margins, frame, ground, whole
from quintain.report.rounding import number, shown

__all__ = ["draw_strike", "window"]

Floats = NDArray[np.float64]

COVERAGE = 1.96
"""Half width of the 95 % band in standard uncertainties."""

_MARGINS = Margins(top=62)
_KILONEWTONS_FROM = 20_000.0
"""Peaks from here on are drawn in kilonewtons. [N]"""
_DOT_SPACING = 4.0
"""Sample points are shown when at least this far apart. [px]"""
_LABEL = 170
"""Room for the name of the corrected curve. [px]"""
_RINGING = 0.02
"""Least stretch after the contact, to show the ringing. [s]"""

FORCE_WORDS = {"force_on_cell": "Force on the cell", "contact_force": "Contact force"}


def window(strike: Strike) -> tuple[float, float]:
    """
    Stretch of time worth drawing: some rest, the contact, and the ringing after it. [s]

    It counts from the start of contact and never leaves the curve.
    """
    curve = strike.curve
    times = curve.raw_time if curve.raw_time.size else curve.time
    if times.size < 2:
        return 0.0, 1e-3
    end = max((contact.end - strike.start for contact in strike.contacts), default=float(times[-1]))
    low = max(float(times[0]), -0.2 * end)
    high = min(float(times[-1]), max(1.9 * end, end + _RINGING))
    return (low, high) if high > low else (float(times[0]), float(times[-1]))


def draw_strike(strike: Strike, *, rate: float, height: int = 320, noun: str = "strike") -> str:
    """
    Draw one strike.

    Parameters
    ----------
    strike : Strike
        Finished: nothing is computed but places on the page.
    rate : float
        Sampling rate of the recording, for the label of the raw trace. [Hz]
    height : int
        Height of the figure; its width is 700. [px]
    noun : str
        What it is called in words, 'strike' or 'drop'.

    Returns
    -------
    str
        ``<svg class="chart" ...>`` for a page that holds the rules of
        :data:`~quintain.report.figures.style.CHART_RULES`.
    """
    place = _frame(strike, height)
    kind = FORCE_WORDS.get(strike.force_kind, strike.force_kind)
    parts = [
        *ground(place, f"{kind}, {'N' if place.y_factor == 1 else 'kN'}", "ms"),
        *_curves(strike.curve, place, with_impulse="impulse" in strike.quantities),
        *_events(strike, place),
        *_names(strike, place, rate),
    ]
    return whole(place, describe(strike, noun=noun), parts)


def describe(strike: Strike, *, noun: str = "strike") -> str:
    """The figure in one sentence, for those who cannot see it."""
    kind = FORCE_WORDS.get(strike.force_kind, strike.force_kind)
    shows = (
        "raw trace in grey, corrected force in blue with its 95 % band"
        if strike.curve.corrected.size
        else "raw trace in grey; it was not corrected for ringing"
    )
    peak = strike.quantities.get("peak_force")
    tail = f"; peak {shown(peak).text}" if peak else ""
    return f"{kind} against time, {noun} {strike.number}: {shows}{tail}."


def _inside(curve: ForceCurve, low: float, high: float) -> list[Floats]:
    raw = curve.raw[(curve.raw_time >= low) & (curve.raw_time <= high)]
    held = (curve.time >= low) & (curve.time <= high)
    half = COVERAGE * curve.u_corrected[held]
    return [raw, curve.corrected[held] - half, curve.corrected[held] + half]


def _frame(strike: Strike, height: int) -> Frame:
    low, high = window(strike)
    values = np.concatenate([np.zeros(1), *_inside(strike.curve, low, high)])
    values = values[np.isfinite(values)]
    bottom, top = float(values.min()), float(values.max())
    y_factor = 1e-3 if top >= _KILONEWTONS_FROM else 1.0
    return frame((low, high), (bottom, top), height=height, margins=_MARGINS, x_factor=1e3, y_factor=y_factor)


def _curves(curve: ForceCurve, place: Frame, *, with_impulse: bool) -> list[str]:
    low, high = place.x.low, place.x.high
    width = place.x.last - place.x.first
    rows = (curve.raw_time >= low) & (curve.raw_time <= high)
    raw_x, raw_y = place.x.many(curve.raw_time[rows]), place.y.many(curve.raw[rows])
    held = (curve.time >= low) & (curve.time <= high)
    x, half = place.x.many(curve.time[held]), COVERAGE * curve.u_corrected[held]
    corrected = place.y.many(curve.corrected[held])
    zero = place.y(0)
    parts = []
    if x.size:
        fill_x, fill_y = thin(x, corrected, width / 2)
    else:
        fill_x, fill_y = thin(raw_x, raw_y, width / 2)
    from_start = fill_x >= place.x(0)
    if with_impulse:
        parts.append(area(fill_x[from_start], np.full(from_start.sum(), zero), fill_y[from_start], "pale"))
    if x.size:
        upper_x, upper = thin(x, place.y.many(curve.corrected[held] + half), width / 4)
        lower = np.interp(upper_x, x, place.y.many(curve.corrected[held] - half))
        parts.append(area(upper_x, lower, upper, "band"))
    parts.append(line(*thin(raw_x, raw_y, width), "raw"))
    if raw_x.size > 1 and (raw_x[-1] - raw_x[0]) / (raw_x.size - 1) >= _DOT_SPACING:
        parts.append(dots(raw_x, raw_y))
    if x.size:
        parts.append(line(*thin(x, corrected, width / 2), "cor"))
    return parts


def _events(strike: Strike, place: Frame) -> list[str]:
    """Thin lines where contact starts and ends; words on top where there is room for them."""
    contact_time = strike.quantities.get("contact_time")
    ends = [(c.start - strike.start, c.end - strike.start) for c in strike.contacts]
    events = []
    for i, (start, end) in enumerate(ends):
        which = f" {i + 1}" if len(ends) > 1 else ""
        events.append((start, f"contact{which} starts", _milliseconds(start)))
        last = i == len(ends) - 1
        stated = f"{shown(contact_time).text}" if last and contact_time else _milliseconds(end)
        events.append((end, f"contact{which} ends", stated))
    parts = []
    free = 0.0
    for i, (time, words, when) in enumerate(events):
        if not place.x.holds(time):
            continue
        at = place.x(time)
        parts.append(f'<path class="event" d="M{at:.1f} {_MARGINS.top - 34}V{place.foot}"/>')
        wide = CHARACTER * max(len(words), len(when)) + 6
        following = next((place.x(t) for t, *_ in events[i + 1 :] if place.x.holds(t)), WIDTH)
        if at >= free and at + wide <= following:
            parts.append(text(at + 5, _MARGINS.top - 24, words, ("lab-k",)))
            parts.append(text(at + 5, _MARGINS.top - 10, when, ("lab",)))
            free = at + wide
        elif at - wide >= free:
            parts.append(text(at - 5, _MARGINS.top - 24, words, ("lab-k", "fin")))
            parts.append(text(at - 5, _MARGINS.top - 10, when, ("lab", "fin")))
            free = at
    return parts


def _milliseconds(time: float) -> str:
    return "0 ms" if time == 0 else f"{number(1e3 * time, 3)} ms"


def _names(strike: Strike, place: Frame, rate: float) -> list[str]:
    """Name the curves beside them, and with the one the window is under, the impulse."""
    curve = strike.curve
    impulse = strike.quantities.get("impulse")
    words = [f"impulse {shown(impulse).text}"] if impulse else []
    taken = (0.0, 0.0)
    raw_words = [f"raw, {number(rate / 1e3, 3).rstrip('0').rstrip('.')} kHz"]
    parts = []
    if curve.corrected.size:
        level = 0.55 * float(np.nanmax(curve.corrected))
        above = np.flatnonzero(curve.corrected >= level)
        at = _clear_of_events(strike, place, place.x(float(curve.time[above[-1]])) + 12)
        anchor = () if at + _LABEL < WIDTH else ("fin",)
        at = at if not anchor else place.right
        taken = (at + _LABEL if not anchor else WIDTH, place.y(level))
        for i, line_of_words in enumerate(["corrected, with its 95 % band", *words]):
            parts.append(text(at, place.y(level) + 16 * i, line_of_words, ("lab-a", *anchor)))
    else:
        raw_words = [f"{raw_words[0]}, not corrected", *words]
    tail = place.x.low + 0.72 * (place.x.high - place.x.low)
    near = curve.raw[(curve.raw_time >= tail) & (curve.raw_time <= place.x.high)]
    near = near[np.isfinite(near)]
    height = place.y(float(near.max())) if near.size else place.y(0)
    first = max(height - 10 - 16 * (len(raw_words) - 1), _MARGINS.top + 12)
    if taken[0] > place.right - CHARACTER * len(raw_words[0]) and abs(first - taken[1] - 8) < 32:
        first = place.y(float(near.min()) if near.size else 0) + 18
    for i, line_of_words in enumerate(raw_words):
        kinds = ("lab-a", "fin") if i else ("fin",)
        parts.append(text(place.right, first + 16 * i, line_of_words, kinds))
    return parts


def _clear_of_events(strike: Strike, place: Frame, at: float) -> float:
    """Move a label right past the lines of events it would lie on."""
    for contact in strike.contacts:
        for time in (contact.start - strike.start, contact.end - strike.start):
            if at - 4 < place.x(time) < at + _LABEL:
                at = place.x(time) + 6
    return at
