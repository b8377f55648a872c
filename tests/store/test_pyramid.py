"""Zooming: no peak is lost or moved, whatever the window, the breaks and the blocks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quintain.domain.trace import Block, Trace
from quintain.store.pyramid import build_pyramid, open_pyramid, view

RATE = 1000.0


class Blocks:
    """Samples in blocks of given lengths, with breaks in time where told."""

    def __init__(self, parts):
        self.parts = parts

    def blocks(self):
        n = 0
        for start, samples, join in self.parts:
            yield Block(n, start, samples, join)
            n += samples.size


def pyramid_of(samples, folder, key="k"):
    return build_pyramid(Trace.from_array(samples, RATE), folder, key)


def test_samples_themselves_where_they_are_few(tmp_path):
    samples = np.arange(1000.0)
    seen = view(pyramid_of(samples, tmp_path), 0.1, 0.2, 500)
    assert not seen.reduced
    # 0.1 s to 0.2 s at 1 kHz, and one sample more on either side for the line to leave the window
    assert seen.low.tolist() == list(range(99, 202))
    assert seen.start == pytest.approx(0.099)


@settings(deadline=None, max_examples=40)
@given(
    n=st.integers(1, 40_000),
    where=st.floats(0, 1),
    window=st.tuples(st.floats(-0.2, 1.2), st.floats(0.001, 1.5)),
    pixels=st.integers(1, 300),
)
def test_least_and_greatest_of_every_window_are_exact(tmp_path_factory, n, where, window, pixels):
    samples = np.random.default_rng(n).standard_normal(n).astype(np.float32).astype(float)
    peak = min(int(where * n), n - 1)
    samples[peak] = 50.0
    pyramid = pyramid_of(samples, tmp_path_factory.mktemp("p"))
    # the window's edges lie between samples, so that which samples are inside is beyond doubt
    start = (np.floor(window[0] * n) + 0.5) / RATE
    end = start + (np.floor(window[1] * n) + 2) / RATE
    seen = view(pyramid, start, end, pixels)
    times = np.arange(n) / RATE
    inside = (times >= start) & (times < end)
    if not seen.reduced:
        assert np.isin(samples[inside], seen.low).all()
        return
    if not inside.any():
        assert np.isnan(seen.low).all()
        return
    # whole stretches of a level are taken: their edges may lie a quarter of a column off, but never
    # outside the window
    assert np.nanmax(seen.high) == samples[inside].max()
    assert np.nanmin(seen.low) == samples[inside].min()
    if inside[peak]:
        column = int(np.nanargmax(seen.high))
        assert abs((column + 0.5) * seen.step + start - times[peak]) <= 0.76 * seen.step + 1 / RATE


@pytest.mark.parametrize("cut", [1, 15, 16, 17, 1000, 70_000])
def test_levels_do_not_depend_on_blocks(tmp_path, cut):
    samples = np.random.default_rng(1).standard_normal(70_000)
    parts = [(i / RATE, samples[i : i + cut], "") for i in range(0, samples.size, cut)]
    if cut == 1:
        parts = parts[:300]
        samples = samples[:300]
    cut_up = build_pyramid(Trace("f", "force", "N", RATE, Blocks(parts)), tmp_path, "cut")
    whole = pyramid_of(samples, tmp_path, "whole")
    assert cut_up.first.tolist() == [0]
    for a, b in zip(cut_up.levels, whole.levels, strict=True):
        assert np.array_equal(a, b)


def test_levels_against_the_plain_definition(tmp_path):
    samples = np.random.default_rng(2).standard_normal(5000).astype(np.float32)
    pyramid = pyramid_of(samples.astype(float), tmp_path)
    for k, level in enumerate(pyramid.levels[1:], 1):
        for i, (low, high) in enumerate(level):
            stretch = samples[i * 16**k : (i + 1) * 16**k]
            assert (low, high) == (stretch.min(), stretch.max())


def test_gap_is_empty_and_times_are_the_recordings_own(tmp_path):
    parts = [(0.0, np.full(500, 1.0), ""), (10.0, np.full(500, 2.0), "gap")]
    pyramid = build_pyramid(Trace("f", "force", "N", RATE, Blocks(parts)), tmp_path, "gap")
    assert pyramid.span == (0.0, 10.5)
    seen = view(pyramid, 0.0, 10.5, 21)
    assert seen.high[0] == 1.0
    assert np.isnan(seen.high[1:20]).all()
    assert seen.high[20] == 2.0


def test_clock_set_back_shows_both_stretches(tmp_path):
    parts = [(0.0, np.full(1000, 1.0), ""), (0.5, np.full(1000, -1.0), "time-backward")]
    pyramid = build_pyramid(Trace("f", "force", "N", RATE, Blocks(parts)), tmp_path, "back")
    seen = view(pyramid, 0.0, 1.5, 3)
    assert seen.low.tolist() == [1.0, -1.0, -1.0]
    assert seen.high.tolist() == [1.0, 1.0, -1.0]


def test_missing_samples_are_left_out(tmp_path):
    samples = np.ones(4000)
    samples[100:3000] = np.nan
    seen = view(pyramid_of(samples, tmp_path), 0, 4, 40)
    assert np.isnan(seen.low[2:29]).all()
    assert (seen.low[30:] == 1).all()


def test_empty_recording_shows_nothing(tmp_path):
    seen = view(pyramid_of(np.empty(0), tmp_path), 0, 1, 10)
    assert np.isnan(seen.low).all()


def test_stopped_work_leaves_nothing(tmp_path):
    def stop(done):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        build_pyramid(Trace.from_array(np.ones(100), RATE), tmp_path, "k", progress=stop)
    assert list(tmp_path.iterdir()) == []


def test_damaged_cache_is_built_anew(tmp_path):
    pyramid_of(np.ones(1000), tmp_path)
    (tmp_path / "k" / "0.f4").write_bytes(b"1234")
    assert open_pyramid(tmp_path, "k") is None
    assert pyramid_of(np.ones(1000), tmp_path).n_samples == 1000


@pytest.mark.parametrize("bad", [(1, 1, 10), (0, np.nan, 10), (0, 1, 0), (0, 1, 10_000)])
def test_windows_that_are_none_are_refused(tmp_path, bad):
    with pytest.raises(ValueError):
        view(pyramid_of(np.ones(10), tmp_path), *bad)


def test_key_is_never_a_path(tmp_path):
    with pytest.raises(ValueError):
        pyramid_of(np.ones(10), tmp_path, "../k")
