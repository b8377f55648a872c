"""Free decays in closed form, for tests of identification."""

from __future__ import annotations

import numpy as np

__all__ = ["free_decay"]


def free_decay(time, frequency, damping, amplitude, phase=0.0):
    """Free decay of one mode, natural frequency in Hz."""
    natural = 2 * np.pi * frequency
    swing = natural * np.sqrt(1 - damping**2)
    return amplitude * np.exp(-damping * natural * time) * np.cos(swing * time + phase)
