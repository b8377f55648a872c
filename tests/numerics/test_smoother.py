"""The recursive smoother against plain conditioning of one large Gaussian."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from scipy import stats

from quintain.numerics import smoother
from quintain.numerics.smoother import filter_samples, log_likelihood, smooth_force, start_scale
from quintain.numerics.state_space import discretise, rig_model

GRID = 4


def _dense(samples, model, noise, density):
    """Mean and variance of the force on the grid, and the log-likelihood, from one joint Gaussian."""
    steps = discretise(model, 1e-3, grid=GRID)
    n, n_points = model.drift.shape[0], (samples.size - 1) * GRID + 1
    p0 = start_scale(samples, noise) * np.eye(model.drift.shape[0])
    a = steps.transition[1]
    cov = np.zeros((n_points, n, n_points, n))
    cov[0, :, 0] = p0
    for k in range(1, n_points):
        q = np.tensordot(density[:, (k - 1) // GRID], steps.noise[:, 1], axes=1)
        cov[k, :, :k] = np.einsum("ij,jkl->ikl", a, cov[k - 1, :, :k])
        cov[:k, :, k] = np.transpose(cov[k, :, :k], (1, 2, 0))
        cov[k, :, k] = a @ cov[k - 1, :, k - 1] @ a.T + q
    seen = np.flatnonzero(~np.isnan(samples))
    shown = cov[seen * GRID][:, :, seen * GRID]
    s = np.einsum("i,aibj,j->ab", model.output, shown, model.output) + noise**2 * np.eye(seen.size)
    cross = np.einsum("gbj,j->gb", cov[:, model.i_force][:, seen * GRID], model.output)
    gain = np.linalg.solve(s, cross.T).T
    mean = gain @ samples[seen]
    prior = np.array([cov[k, model.i_force, k, model.i_force] for k in range(n_points)])
    ll = stats.multivariate_normal(np.zeros(seen.size), s, allow_singular=False).logpdf(samples[seen])
    return mean, prior - np.einsum("gb,gb->g", gain, cross), ll


@pytest.mark.parametrize("cutoff", [None, 300.0])
def test_smoother_equals_conditioning_of_the_joint_gaussian(cutoff):
    # derived here: both are the same estimator, so they agree to the conditioning of the dense matrix
    rng = np.random.default_rng(4)
    model = rig_model([120.0], [0.03], anti_alias_cutoff=cutoff)
    samples = rng.normal(0, 30.0, 24)
    samples[[5, 11, 12]] = np.nan
    density = 10.0 ** rng.uniform(0, 6, (3, 23))
    steps = discretise(model, 1e-3, grid=GRID)
    found = smooth_force(samples, model, steps, noise=2.0, density=density)
    mean, variance, ll = _dense(samples, model, 2.0, density)
    np.testing.assert_allclose(found.force, mean, atol=1e-6 * np.abs(mean).max())
    np.testing.assert_allclose(found.variance, variance, atol=1e-6 * variance.max())
    assert found.log_likelihood == pytest.approx(ll, rel=1e-8)
    assert log_likelihood(samples, model, steps, noise=2.0, density=density) == found.log_likelihood


def test_innovations_of_a_true_model_are_white_and_of_the_stated_size():
    rng = np.random.default_rng(8)
    model = rig_model([150.0], [0.03])
    steps = discretise(model, 1e-3)
    density = np.array([[0.0], [1e5], [0.0]]) * np.ones((3, 3999))
    root = np.linalg.cholesky(1e5 * steps.noise[1, 1] + 1e-9 * np.eye(5))
    x, samples = np.zeros(5), np.zeros(4000)
    for k in range(1, 4000):
        x = steps.transition[1] @ x + root @ rng.normal(size=5)
        x[2:] *= 0.999  # keep the random walk at home; changes the innovations by far less than tested
        samples[k] = model.output @ x
    samples += rng.normal(0, 2.0, 4000)
    found = filter_samples(samples, model, steps, noise=2.0, density=density)
    z = (found.innovation / found.u_innovation)[100:]
    assert abs(z.std() - 1) < 0.05  # 4 sd of the spread of 3900 values
    assert abs(np.mean(z[1:] * z[:-1])) < 0.065


def test_variance_stays_positive_at_extreme_scales():
    model = rig_model([300.0], [0.001], anti_alias_cutoff=450.0)
    steps = discretise(model, 1e-3, grid=8)
    for scale in (1e-12, 1e14):
        density = np.full((3, 199), scale)
        found = smooth_force(np.zeros(200), model, steps, noise=1e-3, density=density)
        assert np.isfinite(found.force).all()
        assert (found.variance >= 0).all()


def test_kernels_run_without_the_compiler():
    code = (
        "import numpy as np;"
        "from quintain.numerics.state_space import rig_model, discretise;"
        "from quintain.numerics.smoother import smooth_force;"
        "m = rig_model([100.0], [0.02]);"
        "f = smooth_force(np.ones(12), m, discretise(m, 1e-3, grid=2), noise=1.0, density=np.ones((3, 11)));"
        "print(repr(float(f.force[11])))"
    )
    printed = [
        float(
            subprocess.run(
                [sys.executable, "-c", code],
                env={**os.environ, "NUMBA_DISABLE_JIT": switch},
                capture_output=True,
                text=True,
                check=True,
            ).stdout
        )
        for switch in ("1", "0")
    ]
    assert printed[0] == pytest.approx(printed[1], rel=1e-9)  # same arithmetic, order of sums may differ


@pytest.mark.parametrize("kernel", [smoother._forward_kernel, smoother._backward_kernel])
def test_threads_share_one_kernel_for_each_size(kernel):
    """
    Two of a name at once, and the constants of both are lost with the first of them.

    It showed as "In 'NRT_adapt_ndarray_to_python', 'descr' is NULL" until the process was begun anew.
    """
    ready = threading.Barrier(8)

    def ask(n):
        ready.wait()
        return kernel(n)

    with ThreadPoolExecutor(8) as pool:
        got = list(pool.map(ask, [21, 23] * 4))
    assert got[0] is got[2] is got[4] is got[6]
    assert got[1] is got[3] is got[5] is got[7]
    assert got[0].__qualname__ != got[1].__qualname__
