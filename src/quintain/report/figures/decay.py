"""A tap: how the rig rings on, with the modes fitted to it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quintain.report.figures.axes import dots, line, text, thin
from quintain.report.figures.frame import frame, ground, whole

__all__ = ["draw_decay"]

Floats = NDArray[np.float64]


def draw_decay(
    time: Floats, force: Floats, fitted: Floats, *, unit: str, label: str, height: int = 200
) -> str:
    """
    Draw a free decay in grey and the sum of the fitted modes in blue.

    Parameters
    ----------
    time, force, fitted : ndarray, shape (n,)
        From the start of the stretch that was fitted [s]; in ``unit``; ``fitted`` may be empty.
    unit, label : str
        Unit of the signal; the figure in words.
    height : int
        [px]
    """
    values = np.concatenate([np.zeros(1), force, fitted])
    values = values[np.isfinite(values)]
    ends = (float(time[0]), float(time[-1])) if time.size else (0.0, 1e-3)
    place = frame(ends, (float(values.min()), float(values.max())), height=height, x_factor=1e3)
    parts = ground(place, f"Free decay after the tap, {unit}", "ms")
    x = place.x.many(time)
    width = place.right - place.left
    parts.append(line(*thin(x, place.y.many(force), width), "raw"))
    if x.size > 1 and width / (x.size - 1) >= 4:
        parts.append(dots(x, place.y.many(force)))
    if fitted.size:
        parts.append(line(*thin(x, place.y.many(fitted), width), "cor"))
        parts.append(text(place.right, 12, "fitted", ("lab-a", "fin")))
        parts.append(text(place.right - 44, 12, "recorded", ("fin",)))
    return whole(place, label, parts)
