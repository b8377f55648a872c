"""A pad as drops show it: its loop of force and compression, and what it keeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quintain.domain.measured import Measured

__all__ = ["Pad"]


@dataclass(frozen=True, slots=True)
class Pad:
    """
    One pad under one drop.

    Parameters
    ----------
    quantities : mapping of str to Measured
        ``pad_compression``, ``pad_energy_in``, ``pad_energy_lost``, ``pad_loss_fraction``,
        ``pad_stiffness``, ``pad_exponent``, ``pad_bottoming_at``, ``pad_bottoming_index``; what is not in
        it is not stated.
    compression, force : ndarray, shape (n,)
        The loop from first touch until the force has faded. [m], [N]
    bottoms : bool
        Whether it stiffens towards the end of its travel beyond doubt.
    """

    quantities: Mapping[str, Measured]
    compression: NDArray[np.float64]
    force: NDArray[np.float64]
    bottoms: bool
