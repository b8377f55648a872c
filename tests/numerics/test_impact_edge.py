"""Impact edges of simulated strikes are found where contact begins."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.impact_edge import find_impact_edges
from quintain.numerics.limb import LIMB_STRIKES, read_sensor, simulate_limb


@pytest.mark.parametrize("kind", sorted(LIMB_STRIKES))
@pytest.mark.parametrize("limit", [1960.0, 157.0])
def test_one_edge_at_contact(kind, limit):
    generator = np.random.default_rng(5)
    motion = simulate_limb(LIMB_STRIKES[kind], generator, tremor=0.1)
    sensor = read_sensor(motion, generator, acceleration_limit=limit)
    edges = find_impact_edges(sensor.acceleration, sensor.rate)
    assert len(edges) == 1
    # 0.4 ms of filter delay and the finite rise put it late; it must not be early by more than a sample
    assert -0.001 < edges[0].time + sensor.start - motion.contact < 0.0015


def test_no_edge_without_impact():
    t = np.arange(2000) / 1000
    a = np.zeros((2000, 3))
    a[:, 0] = 100 * np.sin(2 * np.pi * 2 * t)
    assert find_impact_edges(a, 1000.0) == []


def test_shaking_after_an_impact_is_one_strike():
    t = np.arange(3000) / 1000
    a = np.zeros((3000, 3))
    for at in (0.5, 1.5):
        u = np.clip(t - at, 0, None)
        a[:, 1] += np.where(u > 0, -600 * np.sin(2 * np.pi * 40 * u) * np.exp(-u / 0.03), 0)
    assert [round(e.time, 2) for e in find_impact_edges(a, 1000.0)] == [0.5, 1.5]
