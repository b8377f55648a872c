"""A mean force curve: people's means behind it, pointwise and simultaneous bands round it."""

from __future__ import annotations

import numpy as np

from quintain.report.figures.axes import area, line, text
from quintain.report.figures.frame import Margins, frame, ground, whole
from quintain.study.mean_curves import MeanCurve

__all__ = ["draw_mean_curve"]


def draw_mean_curve(curve: MeanCurve, *, label: str, height: int = 260) -> str:
    """
    Draw a mean curve in newtons over milliseconds.

    Parameters
    ----------
    curve : MeanCurve
        In SI units.
    label : str
        The whole in words.
    height : int
        [px]
    """
    low, high = curve.simultaneous
    everything = [low, high, curve.person_means]
    place = frame(
        (float(curve.time[0]), float(curve.time[-1])),
        (min(float(np.min(v)) for v in everything), max(float(np.max(v)) for v in everything)),
        height=height,
        margins=Margins(right=40),
        x_factor=1e3,
    )
    x = place.x.many(curve.time)
    parts = ground(place, "Force on the cell, N", "ms")
    parts.append(area(x, place.y.many(low), place.y.many(high), "pale"))
    parts.append(area(x, place.y.many(curve.pointwise[0]), place.y.many(curve.pointwise[1]), "band"))
    parts += [line(x, place.y.many(mean), "raw") for mean in curve.person_means]
    parts.append(line(x, place.y.many(curve.mean), "cor"))
    words = f"mean of {len(curve.people)} people, their own means in grey"
    parts.append(text(place.right - 4, place.y.last + 14, words, ("lab-a", "fin")))
    return whole(place, label, parts)
