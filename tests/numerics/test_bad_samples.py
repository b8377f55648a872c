"""Samples that are no measurements (derived here; what is normal is tested as much as what is not)."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.bad_samples import BadRun, find_bad_samples, find_step


def half_sine(height: float, rate: float, length: float = 0.012) -> np.ndarray:
    n = int(length * rate)
    return np.concatenate([np.zeros(n), height * np.sin(np.pi * np.arange(n + 1) / n), np.zeros(n)])


def noisy(y: np.ndarray, sd: float, step: float = 0.3, seed: int = 0) -> np.ndarray:
    return np.round((y + np.random.default_rng(seed).normal(0, sd, y.size)) / step) * step


def codes(y, **kw) -> set[str]:
    return {run.code for run in find_bad_samples(y, **kw)}


@pytest.mark.parametrize("rate", [500.0, 2000.0, 50_000.0, 1e6])
@pytest.mark.parametrize("sd", [0.0, 0.05, 0.3, 3.0])
def test_a_good_pulse_has_no_bad_samples(rate, sd):
    # also at rates where its top and its flanks fill a converter step for many samples
    assert codes(noisy(half_sine(1000.0, rate), sd)) == set()


@pytest.mark.parametrize("rate", [2000.0, 50_000.0])
@pytest.mark.parametrize("sd", [0.0, 3.0])
def test_cut_off_at_an_unknown_limit(rate, sd):
    y = np.minimum(noisy(half_sine(1000.0, rate), sd), 800.1)
    (run,) = (r for r in find_bad_samples(y) if r.code == "clipped")
    flat = np.flatnonzero(y == 800.1)
    assert (run.first, run.last) == (flat[0], flat[-1]) if sd == 0 else run.first >= flat[0]


def test_cut_off_at_both_limits():
    y = np.clip(700 * np.sin(np.arange(400) / 9), -546.7, 546.3)
    runs = find_bad_samples(y)
    assert {y[run.first] for run in runs} == {-546.7, 546.3}
    assert {run.code for run in runs} == {"clipped"}


def test_known_limits_need_no_row():
    y = np.array([0.0, 1.0, 5.0, 1.0, -2.0, -2.5, 0.0])
    assert find_bad_samples(y, limits=(-2.0, 5.0)) == (BadRun(2, 2, "clipped"), BadRun(4, 5, "clipped"))


def test_missing():
    y = noisy(np.zeros(100), 3.0)
    y[10:13], y[50], y[99] = np.nan, np.inf, np.nan
    assert find_bad_samples(y) == (
        BadRun(10, 12, "missing-samples"),
        BadRun(50, 50, "missing-samples"),
        BadRun(99, 99, "missing-samples"),
    )
    assert find_bad_samples(np.full(4, np.nan)) == (BadRun(0, 3, "missing-samples"),)


@pytest.mark.parametrize("step", [0.001, 0.3, 2.0])
def test_a_frozen_channel(step):
    y = noisy(np.zeros(5000), 3.0, step)
    y[2000:2030] = y[2000]
    (run,) = find_bad_samples(y)
    assert run.code == "held-samples"
    assert run.first in (1998, 1999, 2000)  # a neighbour may be equal by chance
    assert run.last in (2029, 2030, 2031)


@pytest.mark.parametrize("sd", [0.0, 0.1, 0.2, 0.4])
def test_a_coarse_quiet_recording_is_not_frozen(sd):
    quiet = np.zeros(20_000)
    quiet[9000:9060] = half_sine(500.0, 5000.0)[60:120]
    assert codes(noisy(quiet, sd, step=1.0)) == set()


def test_held_can_be_stated():
    y = [0.0, 5.0, 5.0, 5.0, 1.0, 9.0]
    assert find_bad_samples(y, held=3) == (BadRun(1, 3, "held-samples"),)
    assert find_bad_samples(y, held=4) == ()


@pytest.mark.parametrize("kw", [{"limits": (1.0, 1.0)}, {"limits": (2.0, -2.0)}, {"held": 1}])
def test_bad_settings(kw):
    with pytest.raises(ValueError):
        find_bad_samples([1.0, 2.0], **kw)


@pytest.mark.parametrize("y", [[], [1.0], [1.0, 1.0], np.full(50, 2.0)])
def test_nothing_to_find(y):
    assert find_bad_samples(y) == ()


def test_step_of_a_converter():
    # 16 bit over +-10 kN
    step = 20_000 / 2**16
    y = np.round(np.random.default_rng(1).normal(0, 3, 2000) / step) * step
    assert find_step(y) == pytest.approx(step)
    assert find_step([np.nan, 2.0, 2.0]) == 0.0
    assert find_step([]) == 0.0
    assert find_step([0.1 + 0.2, 0.3, 1.3]) == pytest.approx(1.0)  # rounding is no step
