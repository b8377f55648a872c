"""Force against compression of a pad: what goes in, what comes back, and the law fitted to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quintain.report.figures.axes import line, text
from quintain.report.figures.frame import frame, ground, whole

__all__ = ["Loop", "draw_loops"]

Floats = NDArray[np.float64]

_POINTS = 300
"""Points a loop is drawn with."""


@dataclass(frozen=True, slots=True)
class Loop:
    """One drop's loop: compression [m], force [N], and its name."""

    compression: Floats
    force: Floats
    words: str
    fitted: bool = False
    """A law fitted rather than a measured loop: drawn dashed."""


def draw_loops(loops: Sequence[Loop], *, label: str, height: int = 300) -> str:
    """Draw loops on one scale, the last one in blue, earlier ones in grey; each is named at its top."""
    compressions = np.concatenate([np.zeros(1), *(loop.compression for loop in loops)])
    forces = np.concatenate([np.zeros(1), *(loop.force for loop in loops)])
    compressions, forces = (v[np.isfinite(v)] for v in (compressions, forces))
    place = frame(
        (float(compressions.min()), 1.04 * float(compressions.max())),
        (float(forces.min()), 1.06 * float(forces.max())),
        height=height,
        x_factor=1e3,
        y_factor=1e-3,
    )
    parts = ground(place, "Force, kN, against compression", "mm")
    for i, loop in enumerate(loops):
        step = max(1, loop.force.size // _POINTS)
        x, y = place.x.many(loop.compression[::step]), place.y.many(loop.force[::step])
        last = i == len(loops) - 1
        kind = "limit" if loop.fitted else ("cor" if last else "raw")
        parts.append(line(x, y, kind))
        if np.isfinite(loop.force).any():
            top = int(np.nanargmax(loop.force))
            kinds = ("mid", "lab-a" if last and not loop.fitted else "lab")
            at = place.x(float(loop.compression[top])), place.y(float(loop.force[top])) - 6
            parts.append(text(*at, loop.words, kinds))
    return whole(place, label, parts)
