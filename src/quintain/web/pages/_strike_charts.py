"""Force, speed and power of a strike on one axis of time, as charts.js draws them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from quintain.domain.measured import Measured
from quintain.domain.strike import LimbCurve, Strike
from quintain.report.figures.strike import COVERAGE, FORCE_WORDS, window
from quintain.report.rounding import number, shown

__all__ = ["strike_charts", "thinned"]

Floats = NDArray[np.float64]

_MOST = 3000
"""Points of a curve that are sent at most; a screen has no more columns."""

_KILOWATTS_FROM = 1000.0


def strike_charts(strike: Strike, rate: float | None) -> dict[str, Any]:
    """
    Charts of a strike that holds its curves.

    Parameters
    ----------
    strike : Strike
        With force and limb.
    rate : float or None
        Of the recording, for the name of the raw trace. [Hz]
    """
    charts = [_force(strike, rate)]
    if strike.limb is not None and strike.limb.speed.size > 1:
        charts.append(_speed(strike.limb))
    if strike.limb is not None and strike.limb.power.size > 1:
        charts.append(_power(strike, strike.limb))
    moments = _moments(strike)
    charts[0]["events"] = moments
    for chart in charts[1:]:
        chart["events"] = [{"at": moment["at"]} for moment in moments]
    low, high = window(strike)
    return {"x": {"label": "time", "unit": "ms"}, "range": [1e3 * low, 1e3 * high], "charts": charts}


def thinned(*columns: Floats) -> list[Floats]:
    """Every k-th point, so that few enough are sent; corrected curves are smooth."""
    every = max(1, -(-columns[0].size // _MOST))
    return [column[::every] for column in columns]


def _force(strike: Strike, rate: float | None) -> dict[str, Any]:
    curve = strike.curve
    kind = FORCE_WORDS.get(strike.force_kind, strike.force_kind)
    sampled = "" if rate is None else f", {number(rate / 1e3, 3).rstrip('0').rstrip('.')} kHz"
    corrected = curve.corrected.size > 1
    series = [
        {
            "kind": "raw",
            "label": f"raw{sampled}" + ("" if corrected else ", not corrected"),
            "x": _listed(1e3 * curve.raw_time, 4),
            "y": _listed(curve.raw, 1),
        }
    ]
    if corrected:
        time, force, u = thinned(curve.time, curve.corrected, curve.u_corrected)
        series.append(
            {
                "kind": "corrected",
                "label": "corrected, with its 95 % band",
                "x": _listed(1e3 * time, 4),
                "y": _listed(force, 1),
                "low": _listed(force - COVERAGE * u, 1),
                "high": _listed(force + COVERAGE * u, 1),
            }
        )
    return {"title": kind, "unit": "N", "size": "tall", "series": series, "areas": _impulse(strike)}


def _impulse(strike: Strike) -> list[dict[str, Any]]:
    """The window of the impulse that is stated: to the stop of the limb, else of the whole contact."""
    last = 1 if strike.curve.corrected.size > 1 else 0
    stop = strike.limb.stop if strike.limb is not None else None
    to_stop, whole = strike.quantities.get("impulse_to_stop"), strike.quantities.get("impulse")
    if to_stop is not None and stop is not None:
        return [_area(last, stop, f"impulse {shown(to_stop).text}")]
    if whole is not None and strike.contacts:
        return [_area(last, strike.contacts[-1].end - strike.start, f"impulse {shown(whole).text}")]
    return []


def _area(series: int, end: float, label: str) -> dict[str, Any]:
    return {"series": series, "from": 0.0, "to": round(1e3 * end, 4), "label": label}


def _speed(limb: LimbCurve) -> dict[str, Any]:
    time, speed, u = thinned(limb.time, limb.speed, limb.u_speed)
    return {
        "title": "Speed", "of": "of the striking point", "unit": "m/s", "size": "low",
        "series": [
            {"kind": "corrected", "label": limb.source, "x": _listed(1e3 * time, 4), "y": _listed(speed, 4),
             "low": _listed(speed - COVERAGE * u, 4), "high": _listed(speed + COVERAGE * u, 4)}
        ],
    }  # fmt: skip


def _power(strike: Strike, limb: LimbCurve) -> dict[str, Any]:
    in_kilowatts = float(np.nanmax(limb.power)) >= _KILOWATTS_FROM
    time, power = thinned(limb.power_time, limb.power)
    energy = strike.quantities.get("energy")
    areas = [_area(0, limb.stop, f"energy {shown(energy).text}")] if energy and limb.stop is not None else []
    return {
        "title": "Power", "of": "into the pad", "unit": "kW" if in_kilowatts else "W", "size": "low",
        "series": [{"kind": "corrected", "label": "power", "x": _listed(1e3 * time, 4),
                    "y": _listed(power * (1e-3 if in_kilowatts else 1.0), 4)}],
        "areas": areas,
    }  # fmt: skip


def _moments(strike: Strike) -> list[dict[str, Any]]:
    """Where contacts start and end and where the limb stops, in order of time."""
    found: list[tuple[float, str, str]] = []
    several = len(strike.contacts) > 1
    for i, contact in enumerate(strike.contacts):
        which = f" {i + 1}" if several else ""
        start, end = contact.start - strike.start, contact.end - strike.start
        found.append((start, f"contact{which} starts", _at(start, None)))
        last = i == len(strike.contacts) - 1
        found.append(
            (end, f"contact{which} ends", _at(end, strike.quantities.get("contact_time") if last else None))
        )
    if strike.limb is not None and strike.limb.stop is not None:
        found.append(
            (strike.limb.stop, "limb stops", _at(strike.limb.stop, strike.quantities.get("time_to_stop")))
        )
    return [{"at": round(1e3 * at, 4), "label": label, "note": note} for at, label, note in sorted(found)]


def _at(time: float, stated: Measured | None) -> str:
    if stated is not None:
        return shown(stated).text
    return "0 ms" if time == 0 else f"{number(1e3 * time, 3)} ms"


def _listed(values: Floats, places: int) -> list[float | None]:
    """Numbers as JSON takes them: None where there is none."""
    return [None if v != v else v for v in np.round(values, places).tolist()]
