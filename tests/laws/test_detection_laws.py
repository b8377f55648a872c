"""What must hold of detection whatever the recording (derived here)."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quintain.numerics.bad_samples import find_bad_samples
from quintain.numerics.onset import StrikeScanner, find_strikes
from quintain.numerics.quiet import measure_zero
from ringing_rig import half_sine, record, ring

RATE = 2000.0
CONTENT = record(
    [(1.3, 900.0, 0.01), (1.36, 700.0, 0.01), (2.9, 3000.0, 0.02), (4.4, 300.0, 0.008), (4.43, 250.0, 0.008)],
    damping=0.01,
    drift=3.0,
    hum=2.0,
)
CONTENT[5900:5950] = np.nan
CONTENT[7000] += 4000


@settings(max_examples=25)
@given(cuts=st.lists(st.integers(0, CONTENT.size), max_size=12))
def test_blocks_do_not_matter(cuts):
    whole = find_strikes(CONTENT, RATE)
    edges = [0, *sorted(cuts), CONTENT.size]
    scanner = StrikeScanner(RATE)
    events = []
    for begin, end in itertools.pairwise(edges):
        events += scanner.push(CONTENT[begin:end], begin)
    assert events + scanner.finish() == whole
    assert len(whole) == 4


@pytest.mark.parametrize("piece", [CONTENT[:4000], np.round(CONTENT[:4000] / 20)], ids=["fine", "coarse"])
def test_sample_by_sample(piece):
    scanner = StrikeScanner(RATE)
    events = [event for k in range(piece.size) for event in scanner.push(piece[k : k + 1], k)]
    assert events + scanner.finish() == find_strikes(piece, RATE)


@settings(max_examples=10)
@given(factor=st.sampled_from([-1.0, 0.001, 4.0, -256.0, 2.0**-20]), shift=st.sampled_from([0.0, 500.0]))
def test_unit_and_sign_do_not_matter(factor, shift):
    # powers of two keep the arithmetic exact; 0.001 and the shift may move a start by a rounding
    plain = find_strikes(CONTENT, RATE)
    other = find_strikes(factor * (CONTENT + shift), RATE)
    assert [e.start for e in other] == pytest.approx([e.start for e in plain], abs=1)
    assert [e.flags for e in other] == [e.flags for e in plain]
    assert [e.sign for e in other] == [int(np.sign(factor)) * e.sign for e in plain]


@settings(max_examples=15)
@given(later=st.integers(0, 3000))
def test_later_strikes_are_found_later(later):
    quiet = np.random.default_rng(5).normal(40.0, 3.0, 12_000)
    blow = ring(np.concatenate([half_sine(900.0, 0.012, RATE), np.zeros(1500)]), RATE, 150.0, 0.03)
    y = quiet.copy()
    y[3000 + later : 3000 + later + blow.size] += blow
    (event,) = find_strikes(y, RATE)
    assert event.start - later == pytest.approx(3001, abs=2)  # noise decides on a sample or two


def test_random_campaign():
    """Rates 500 Hz to 50 kHz, rigs of 60 to 700 Hz, damping 0.005 to 0.1, singles and double blows."""
    missed = extra = total = 0
    for seed in range(24):
        rng = np.random.default_rng([20, seed])
        rate = float(rng.choice([500, 1000, 2000, 5000, 10_000, 50_000]))
        frequency = float(np.exp(rng.uniform(np.log(60), np.log(min(700, 0.42 * rate)))))
        damping = float(np.exp(rng.uniform(np.log(0.005), np.log(0.1))))
        noise = float(np.exp(rng.uniform(0, np.log(50))))
        weakest = max(100.0, 15 * noise)
        blows = []
        for at in (1.3, 2.6, 3.9):
            height = float(np.exp(rng.uniform(np.log(weakest), np.log(10_000))))
            length = float(rng.uniform(max(0.004, 4 / rate), 0.028))
            blows.append((at, height, length))
            if rng.random() < 0.6:
                apart = float(rng.choice([0.06, 0.12, 0.3]))
                blows.append((at + apart, max(weakest, height * rng.uniform(0.3, 1.0)), length))
        y = record(
            blows,
            rate=rate,
            seconds=5.5,
            frequency=frequency,
            damping=damping,
            noise=noise,
            drift=float(rng.uniform(-5, 5)),
            hum=float(rng.uniform(0, 0.7)) * noise,
            seed=seed,
        )
        known = {"natural_frequency": 1.005 * frequency, "damping_ratio": 1.1 * damping} if seed % 2 else {}
        found = np.array([event.start / rate for event in find_strikes(y, rate, **known)])
        total += len(blows)
        used = [
            int(np.sum((found > at - 0.012) & (found < at + max(length, 0.012)))) for at, _, length in blows
        ]
        missed += used.count(0)
        extra += found.size - sum(min(n, 1) for n in used)
    # of thousands in a longer campaign fewer than 3 in 1000 were missed: one miss here is the limit
    assert total > 80
    assert missed <= 1
    assert extra == 0


@settings(max_examples=30)
@given(value=st.floats(-1e4, 1e4), drift=st.floats(-20, 20), seed=st.integers(0, 1000))
def test_zero_moves_with_the_recording(value, drift, seed):
    noise = np.random.default_rng(seed).normal(0, 2.0, 1000)
    time = np.arange(1000) / RATE
    plain, moved = measure_zero(noise, RATE), measure_zero(noise + value + drift * time, RATE)
    assert moved.value - plain.value == pytest.approx(value + drift * plain.time, abs=1e-6)
    assert moved.drift - plain.drift == pytest.approx(drift, abs=1e-6)
    assert moved.u_value == pytest.approx(plain.u_value, rel=1e-6)


@settings(max_examples=30)
@given(st.lists(st.sampled_from([0.0, 1.0, 2.5, np.nan]), max_size=60), st.integers(2, 6))
def test_bad_runs_are_disjoint_and_in_order(values, held):
    runs = find_bad_samples(values, held=held)
    assert all(a.last < b.first for a, b in itertools.pairwise(runs))
    missing = {k for run in runs if run.code == "missing-samples" for k in range(run.first, run.last + 1)}
    assert missing == {k for k, x in enumerate(values) if not np.isfinite(x)}
