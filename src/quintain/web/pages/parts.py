"""Every part of the pages in every state, once: for developers and for tests. All of it is invented."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from quintain.domain.flags import flag
from quintain.domain.measured import Contribution, Measured
from quintain.domain.trace import Trace
from quintain.store.pyramid import Pyramid, build_pyramid, view
from quintain.web.rendering import page
from quintain.web.trace_wire import encode

__all__ = ["router"]

_RATE = 5000.0
_LENGTH = 200.0
_TOKENS = [
    "paper",
    "sunk",
    "hair",
    "wash",
    "edge",
    "ink",
    "ink-2",
    "ink-3",
    "accent",
    "accent-wash",
    "accent-pale",
    "stop",
]

router = APIRouter(include_in_schema=False)


@router.get("/parts")
def parts(request: Request) -> Response:
    """Show them."""
    strike = {
        "impulse": Measured("impulse", 38.41, 0.2),
        "impulse_to_stop": Measured("impulse_to_stop", 27.84, 0.15),
        "approach_speed": Measured("approach_speed", 8.6, 0.07),
        "peak_power": Measured("peak_power", 18500.0, None),
        "effective_mass": Measured.of(
            "effective_mass",
            2.99,
            [
                Contribution("approach speed, limb IMU", 0.021),
                Contribution("gain of the cell, from drops", 0.014),
                Contribution("stop of the hand, clocks", 0.012),
                Contribution("limb acceleration before contact", 0.009),
                Contribution("noise, zero", 0.004),
            ],
        ),
    }
    return page(
        request,
        "parts.html",
        strike=strike,
        few=(flag("few-samples"),),
        clipped=(flag("clipped"),),
        rows=_rows(),
        tokens=_TOKENS,
    )


def _rows() -> list[dict[str, Any]]:
    return [
        {
            "number": number,
            "type": kind,
            "state": state,
            "css": css,
            "impulse": Measured("impulse", impulse, 0.2),
            "peak": None if peak is None else Measured("peak_force", peak, 25.0),
            "flags": flags,
        }
        for number, kind, state, css, impulse, peak, flags in (
            (1, "jab", "yes", "", 18.03, 1560.0, []),
            (2, "cross", "yes", "sel", 27.4, 2360.0, ["few-samples"]),
            (3, "hook", "wait", "who", 39.5, 3060.0, []),
            (4, "cross", "no", "out", 41.2, None, ["clipped", "few-samples"]),
        )
    ]


@router.post("/parts/cancel")
def cancel() -> Response:
    """Nothing runs here, so nothing stops."""
    return RedirectResponse("/parts", 303)


@router.get("/parts/strike.json")
def strike_charts() -> dict[str, Any]:
    """Two aligned charts of an invented strike."""
    t = np.arange(-8, 60, 0.5)
    pulse = np.where(t > 0, 3200 * (np.clip(t, 0, None) / 6.7) * np.exp(1 - np.clip(t, 0, None) / 6.7), 0)
    raw = pulse + np.where(t > 0, 500 * np.exp(-np.clip(t, 0, None) / 25) * np.sin(1.334 * t), 0)
    fine = np.arange(-8, 60, 0.1)
    smooth = np.interp(fine, t, pulse)
    speed = 8.6 - np.cumsum(smooth) * 0.1 / 2990
    return {
        "x": {"label": "time", "unit": "ms"},
        "charts": [
            {
                "title": "Force on the cell", "unit": "N", "size": "tall",
                "series": [
                    {"kind": "raw", "label": "raw, 2 kHz", "x": t.tolist(), "y": raw.round(1).tolist()},
                    {"kind": "corrected", "label": "corrected, with its 95 % band", "x": fine.tolist(),
                     "y": smooth.round(1).tolist(), "low": (smooth - 50).round(1).tolist(),
                     "high": (smooth + 50).round(1).tolist()},
                ],
                "events": [{"at": 0.0, "label": "contact starts", "note": "0.00 ± 0.06 ms"},
                           {"at": 35.5, "label": "contact ends", "note": "35.5 ± 0.3 ms"}],
            },
            {
                "title": "Speed", "of": "of the striking point", "unit": "m/s", "size": "low",
                "series": [{"kind": "corrected", "label": "speed", "x": fine.tolist(),
                            "y": speed.round(3).tolist()}],
                "events": [{"at": 0.0}, {"at": 35.5}],
            },
        ],
    }  # fmt: skip


@cache
def _pyramid() -> Pyramid:
    t = np.arange(int(_LENGTH * _RATE)) / _RATE
    force = 9 * np.random.default_rng(7).standard_normal(t.size)
    for start in range(10, 200, 10):
        since = np.clip(t - start, 0, None)
        force += 3000 * (since / 0.007) * np.exp(1 - since / 0.007)
    folder = Path(tempfile.mkdtemp(prefix="quintain-parts-"))
    return build_pyramid(Trace.from_array(force, _RATE), folder, "parts")


@router.get("/parts/trace")
def trace(start: float, end: float, pixels: int) -> Response:
    """A window of an invented recording."""
    return Response(encode(view(_pyramid(), start, end, pixels)), media_type="application/octet-stream")


@router.get("/parts/events.json")
def events() -> list[dict[str, Any]]:
    """Where its strikes are."""
    return [{"at": float(at), "label": str(i + 1)} for i, at in enumerate(range(10, 200, 10))]
