"""Excerpts of real files that travel with the tests; sources and licences in tests/data/readers/README.md."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quintain.readers.registry import read

DATA = Path(__file__).parents[1] / "data" / "readers"


def test_force_plate_export() -> None:
    recording = read(DATA / "landing_excerpt.txt")
    assert [(t.name, t.unit, t.rate) for t in recording.traces] == [("Fy", "N", 1000.0), ("Fz", "N", 1000.0)]
    plain = np.loadtxt(DATA / "landing_excerpt.txt", skiprows=13, encoding="latin-1")
    np.testing.assert_array_equal(recording.trace("Fz").read(), plain[:, 2])
    assert recording.header.count("\n") == 12


def test_shock_with_a_comment_for_a_header() -> None:
    (trace,) = read(DATA / "shock_excerpt.txt").traces
    plain = np.loadtxt(DATA / "shock_excerpt.txt")
    assert (trace.quantity, trace.unit_in_file) == ("acceleration", "g")
    assert trace.rate == pytest.approx(1 / (plain[1, 0] - plain[0, 0]), rel=1e-9)
    np.testing.assert_allclose(trace.read(), plain[:, 1] * 9.80665, rtol=1e-15)


def test_table_without_header() -> None:
    recording = read(DATA / "no_header_excerpt.lvm", columns="time=1[s],base=2[g],board=3[g],once=4[V]")
    assert [(t.rate, t.read().size) for t in recording.traces] == [(2e5, 400), (2e5, 400), (2e5, 1)]


def test_oscilloscope() -> None:
    (trace,) = read(DATA / "oscilloscope_excerpt.csv", columns="time=4[s],gauge=5[V]").traces
    (block,) = trace.blocks()
    assert (trace.rate, block.start, block.samples.size) == (125e6, -8e-5, 300)
