"""The first zero and noise of a recording, before anything is known about it."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.bad_samples import marked_runs

__all__ = ["FirstLevel", "find_first_level"]

FloatArray = NDArray[np.float64]


class FirstLevel(NamedTuple):
    """Zero at cell 0 [N], slope [N a cell], noise of a cell and of a sample, spread of the hops [N]."""

    zero: float
    slope: float
    sigma: float
    sigma_raw: float
    spread: float


def find_first_level(
    means: FloatArray, within: FloatArray, *, width: int, hop: int, step: float, n_needed: int
) -> FirstLevel:
    """
    Take zero and noise from the first rest in the cells given.

    Rest are at least ``n_needed`` hops in a row whose scatter is near that of the calmest hop. The first
    such rest decides, for the zero may shift with the first event. Without any, the cells show but the
    turning points of a rig that swings, and the swing is the noise.
    """
    size = (means.size // hop) * hop
    shape = (-1, hop) if size else (1, -1)
    size = size or means.size
    hops, inside = means[:size].reshape(shape), within[:size].reshape(shape)
    whole = np.isfinite(hops).all(axis=1)
    if not whole.any():
        return FirstLevel(0.0, 0.0, 0.0, 0.0, 0.0)
    hops, inside = hops[whole], inside[whole]
    count = hops.shape[1]
    scatter = hops.std(axis=1, ddof=1) if count > 1 else np.zeros(len(hops))
    centre = hops.mean(axis=1)
    calmest = max(float(scatter.min()), step)
    alike = scatter <= 2.5 * calmest
    rests = [run for run in marked_runs(alike) if run[1] - run[0] >= n_needed]
    slope = spread = 0.0
    if rests:
        alike = np.zeros(centre.size, bool)
        alike[slice(*rests[0])] = True
        at = (np.flatnonzero(whole).astype(np.float64) + 0.5) * count - 0.5
        slope = _robust_slope(at[alike], centre[alike])
        left = centre - slope * at
        alike &= np.abs(left - np.median(left[alike])) <= 4 * calmest
        zero = float(np.median(left[alike]))
    else:
        zero, spread = float(np.median(centre)), float(centre.std())
        alike = np.ones(centre.size, bool)
    squares = inside.sum(axis=1) + width * scatter**2 * (count - 1)
    sigma_raw = float(np.sqrt(np.median(squares[alike]) / max(count * width - 1, 1)))
    return FirstLevel(zero, slope, float(np.median(scatter[alike])), sigma_raw, spread)


def _robust_slope(at: NDArray[np.floating[Any]], centre: FloatArray) -> float:
    """Median of all slopes between two hops (Theil 1950, Sen 1968), 0 where it is not significant."""
    if at.size < 10:
        return 0.0
    first, second = np.triu_indices(at.size, 1)
    slope = float(np.median((centre[second] - centre[first]) / (at[second] - at[first])))
    left = centre - slope * at
    scatter = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    return slope if abs(slope) > 3 * scatter / float(np.sqrt(np.sum((at - at.mean()) ** 2))) else 0.0
