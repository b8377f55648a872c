"""Measured values, flags, traces and recordings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quintain.domain.flags import FLAGS, flag
from quintain.domain.measured import Contribution, Measured
from quintain.domain.recording import Recording
from quintain.domain.trace import Trace
from quintain.errors import ChannelError
from quintain.quantities import GLOSSARY


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=8))
def test_independent_contributions_add_in_quadrature(parts):
    measured = Measured.of("impulse", 1.0, [Contribution(str(i), u) for i, u in enumerate(parts)])
    # hypot is an independent implementation of the root of the sum of squares; 1e-12 is rounding
    assert measured.u == pytest.approx(math.hypot(*parts), rel=1e-12)
    assert [abs(c.u) for c in measured.budget] == sorted(map(abs, parts), reverse=True)


def test_a_quantity_outside_the_glossary_is_refused():
    with pytest.raises(KeyError, match="not in the glossary"):
        Measured("punch_power_score", 1.0, 0.1)


def test_withheld_quantities_are_in_the_glossary():
    for meaning in FLAGS.values():
        assert set(meaning.withholds) <= set(GLOSSARY), meaning.code


def test_flags_say_what_is_particular():
    raised = flag("clipped", "14 samples at 8000 N.", where="Fz")
    assert raised.message.endswith("14 samples at 8000 N.")
    with pytest.raises(KeyError):
        flag("no-such-code")


def test_a_trace_keeps_its_own_unalterable_copy():
    samples = np.arange(5.0)
    trace = Trace.from_array(samples, 1000.0)
    samples[0] = 99
    assert trace.read()[0] == 0
    with pytest.raises(ValueError, match="read-only"):
        next(trace.blocks()).samples[0] = 1


def test_blocks_are_the_whole_trace_in_order():
    samples = np.arange(600_000.0)
    blocks = list(Trace.from_array(samples, 1000.0, start=2.0).blocks())
    assert len(blocks) > 1
    np.testing.assert_array_equal(np.concatenate([b.samples for b in blocks]), samples)
    assert all(b.start == 2.0 + b.first / 1000.0 for b in blocks)


def test_channels_are_named_or_told_apart():
    force = Trace.from_array(np.zeros(3), 1000.0, name="Fz")
    other = Trace.from_array(np.zeros(3), 1000.0, name="Fy")
    with pytest.raises(ChannelError, match="2 channels of force; name one"):
        Recording("a.csv", "", 0, (force, other)).trace()
    with pytest.raises(ChannelError, match="'Fy'"):
        Recording("a.csv", "", 0, (force, other)).trace("Fx")
    assert Recording("a.csv", "", 0, (force,)).trace() is force
