"""Kalman filter and smoother for a force that is seen only through a ringing rig."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from quintain.numerics.state_space import RigModel, Steps

__all__ = ["Filtered", "Smoothed", "filter_samples", "log_likelihood", "smooth_force", "start_scale"]

Floats = NDArray[np.float64]


class Filtered(NamedTuple):
    """What each sample added to the knowledge of the state."""

    log_likelihood: float
    """Natural logarithm of the probability density of all samples."""
    innovation: Floats
    """Sample minus its prediction from all earlier ones, shape (n_samples,). [N]"""
    u_innovation: Floats
    """Standard deviation expected of the innovation, shape (n_samples,). [N]"""


class Smoothed(NamedTuple):
    """The force on a grid finer than the samples, given all samples."""

    force: Floats
    """Expected force, shape ((n_samples - 1) * grid + 1,). [N]"""
    variance: Floats
    """Posterior variance of the force, same shape. [N²]"""
    log_likelihood: float
    """Natural logarithm of the probability density of all samples."""


def _one_for_each(make: Callable[[int], Any]) -> Callable[[int], Any]:
    """
    Compile what ``make`` gives for a number of states, once, under a name of its own.

    Numba finds the constants of compiled code by its name alone. Kernels of the same name, or made twice
    by two threads at once, would share them, and fail when one of the two is thrown away.
    """
    kernels: dict[int, Any] = {}
    making = threading.Lock()

    def kernel(n: int) -> Any:
        with making:
            if n not in kernels:
                function = make(n)
                function.__name__ = function.__qualname__ = f"{function.__name__}_{n}"
                kernels[n] = njit(cache=True, error_model="numpy")(function)
            return kernels[n]

    return kernel


@_one_for_each
def _forward_kernel(n: int) -> Any:
    """Filter for ``n`` states: a constant, so the compiler unrolls its loops and is three times faster."""

    def forward(y, transition, noise, output, variance, density, scale, store):  # type: ignore[no-untyped-def]
        n_force = noise.shape[0]
        n_samples = y.size
        rows = n_samples if store else 1
        xs = np.zeros((rows, n))
        ps = np.zeros((rows, n, n))
        gains = np.zeros((rows, n))
        innovation = np.zeros(n_samples)
        spread = np.zeros(n_samples)
        x = np.zeros(n)
        p = np.zeros((n, n))
        half = np.zeros((n, n))
        gathered = np.zeros((n, n))
        h = np.zeros(n)
        gain = np.zeros(n)
        moved = np.zeros(n)
        for i in range(n):
            p[i, i] = scale
        total = 0.0
        for k in range(n_samples):
            if k > 0:
                fresh = k == 1
                for c in range(n_force):
                    fresh |= density[c, k - 1] != density[c, k - 2]
                if fresh:
                    for i in range(n):
                        for j in range(n):
                            s = 0.0
                            for c in range(n_force):
                                s += density[c, k - 1] * noise[c, i, j]
                            gathered[i, j] = s
                for i in range(n):
                    s = 0.0
                    for j in range(n):
                        s += transition[i, j] * x[j]
                    moved[i] = s
                    for j in range(n):
                        s = 0.0
                        for m in range(n):
                            s += transition[i, m] * p[m, j]
                        half[i, j] = s
                for i in range(n):
                    x[i] = moved[i]
                    for j in range(i + 1):
                        s = gathered[i, j]
                        for m in range(n):
                            s += half[i, m] * transition[j, m]
                        p[i, j] = s
                        p[j, i] = s
            expected = 0.0
            s_inn = variance
            for i in range(n):
                s = 0.0
                for j in range(n):
                    s += p[i, j] * output[j]
                h[i] = s
                expected += output[i] * x[i]
            for i in range(n):
                s_inn += output[i] * h[i]
            spread[k] = s_inn
            e = y[k] - expected
            innovation[k] = e
            if np.isnan(e):
                for i in range(n):
                    gain[i] = 0.0
            else:
                for i in range(n):
                    gain[i] = h[i] / s_inn
                    x[i] += gain[i] * e
                total -= 0.5 * (np.log(2 * np.pi * s_inn) + e * e / s_inn)
                # Joseph form, (I - K C) P (I - K C)' + K R K', by rank-one steps
                for i in range(n):
                    s = 0.0
                    for j in range(n):
                        half[i, j] = p[i, j] - gain[i] * h[j]
                        s += half[i, j] * output[j]
                    moved[i] = s
                for i in range(n):
                    for j in range(i + 1):
                        s = half[i, j] - moved[i] * gain[j] + variance * gain[i] * gain[j]
                        p[i, j] = s
                        p[j, i] = s
            if store:
                for i in range(n):
                    xs[k, i] = x[i]
                    gains[k, i] = gain[i]
                    for j in range(n):
                        ps[k, i, j] = p[i, j]
        return total, innovation, spread, xs, ps, gains

    return forward


@_one_for_each
def _backward_kernel(n: int) -> Any:
    """Modified Bryson-Frazier smoother: no matrix is inverted, and the fine grid costs n² a point."""

    def backward(  # type: ignore[no-untyped-def]
        innovation, spread, xs, ps, gains, transitions, noises, output, density, i_force
    ):
        n_samples = xs.shape[0]
        n_force = noises.shape[0]
        r = transitions.shape[0] - 1
        force = np.zeros((n_samples - 1) * r + 1)
        var = np.zeros(force.size)
        lam = np.zeros(n)
        big = np.zeros((n, n))
        row = np.zeros(n)
        col = np.zeros(n)
        vec = np.zeros(n)
        half = np.zeros((n, n))
        for k in range(n_samples - 1, -1, -1):
            # the adjoint (lam, big) holds what the samples after k say
            x = xs[k, i_force]
            s = ps[k, i_force, i_force]
            for i in range(n):
                x -= ps[k, i_force, i] * lam[i]
                t = 0.0
                for j in range(n):
                    t += big[i, j] * ps[k, j, i_force]
                s -= ps[k, i_force, i] * t
            force[k * r] = x
            var[k * r] = s
            if k == 0:
                break
            # take in sample k
            if not np.isnan(innovation[k]):
                pull = innovation[k] / spread[k]
                weight = 1 / spread[k]
                for i in range(n):
                    pull += gains[k, i] * lam[i]
                    t = 0.0
                    for j in range(n):
                        t += big[i, j] * gains[k, j]
                    vec[i] = t
                for i in range(n):
                    weight += gains[k, i] * vec[i]
                for i in range(n):
                    lam[i] -= output[i] * pull
                    for j in range(n):
                        big[i, j] += output[i] * output[j] * weight - vec[i] * output[j] - output[i] * vec[j]
            # points between samples k - 1 and k
            for part in range(1, r):
                x = 0.0
                for i in range(n):
                    x += transitions[part, i_force, i] * xs[k - 1, i]
                    t = 0.0
                    for j in range(n):
                        t += transitions[part, i_force, j] * ps[k - 1, j, i]
                    col[i] = t
                for i in range(n):
                    t = 0.0
                    for c in range(n_force):
                        t += density[c, k - 1] * noises[c, part, i_force, i]
                    for j in range(n):
                        t += col[j] * transitions[part, i, j]
                    row[i] = t
                s = row[i_force]
                for i in range(n):
                    t = 0.0
                    for j in range(n):
                        t += transitions[r - part, i, j] * row[j]
                    vec[i] = t
                for i in range(n):
                    t = 0.0
                    for j in range(n):
                        t += big[i, j] * vec[j]
                    s -= vec[i] * t
                    x -= vec[i] * lam[i]
                force[(k - 1) * r + part] = x
                var[(k - 1) * r + part] = s
            # step the adjoint back to sample k - 1
            for i in range(n):
                t = 0.0
                for j in range(n):
                    t += transitions[r, j, i] * lam[j]
                vec[i] = t
                for j in range(n):
                    t = 0.0
                    for m in range(n):
                        t += transitions[r, m, i] * big[m, j]
                    half[i, j] = t
            for i in range(n):
                lam[i] = vec[i]
                for j in range(i + 1):
                    t = 0.0
                    for m in range(n):
                        t += half[i, m] * transitions[r, m, j]
                    big[i, j] = t
                    big[j, i] = t
        return force, var

    return backward


def start_scale(samples: Floats, noise: float) -> float:
    """Variance of every entry of the first state: as wide as what the first samples show. [N²]"""
    first = np.abs(samples[:20])
    return 4 * noise**2 + float(np.max(first[np.isfinite(first)], initial=0.0)) ** 2


def _run(samples: Floats, model: RigModel, steps: Steps, noise: float, density: Floats, store: bool) -> Any:
    """Run the filter."""
    n = model.drift.shape[0]
    last = np.ascontiguousarray(steps.noise[:, -1])
    scale = start_scale(samples, noise)
    return _forward_kernel(n)(
        samples, steps.transition[-1], last, model.output, noise**2, density, scale, store
    )


def log_likelihood(samples: Floats, model: RigModel, steps: Steps, *, noise: float, density: Floats) -> float:
    """
    Say how probable the samples are under a model; see :func:`filter_samples` for the arguments.

    Returns
    -------
    float
        Natural logarithm of the probability density of all samples.

    Examples
    --------
    >>> import numpy as np
    >>> from quintain.numerics.state_space import discretise, rig_model
    >>> model = rig_model([100.0], [0.02])
    >>> steps = discretise(model, 0.001)
    >>> quiet = np.zeros(50)
    >>> calm = log_likelihood(quiet, model, steps, noise=1.0, density=np.full((3, 49), 1e-3))
    >>> wild = log_likelihood(quiet, model, steps, noise=1.0, density=np.full((3, 49), 1e9))
    >>> calm > wild
    True
    """
    return float(_run(samples, model, steps, noise, density, False)[0])


def filter_samples(
    samples: Floats, model: RigModel, steps: Steps, *, noise: float, density: Floats
) -> Filtered:
    """
    Predict each sample from all earlier ones.

    Parameters
    ----------
    samples : ndarray, shape (n_samples,)
        Output of the chain, zero removed; NaN where a sample is missing. [N]
    model : RigModel
        The rig and its unknown force.
    steps : Steps
        The same, made discrete at the sampling interval.
    noise : float
        Standard deviation of one sample. [N]
    density : ndarray, shape (n_force, n_samples - 1)
        Density of the white noise that drives the force and each of its derivatives, one an
        interval; derivatives are scaled to newtons by the model's ``force_frequency``. [N²/s]

    Returns
    -------
    Filtered
        Innovations, what was expected of them, and the likelihood.

    Examples
    --------
    >>> import numpy as np
    >>> from quintain.numerics.state_space import discretise, rig_model
    >>> model = rig_model([100.0], [0.02])
    >>> found = filter_samples(
    ...     np.zeros(50), model, discretise(model, 0.001), noise=1.0, density=np.full((3, 49), 1e-3)
    ... )
    >>> float(np.abs(found.innovation).max())
    0.0
    """
    total, innovation, spread, *_ = _run(samples, model, steps, noise, density, False)
    return Filtered(float(total), innovation, np.sqrt(spread))


def smooth_force(
    samples: Floats, model: RigModel, steps: Steps, *, noise: float, density: Floats
) -> Smoothed:
    """
    Estimate the force behind the rig, between the samples too.

    Parameters
    ----------
    samples, model, steps, noise, density
        As for :func:`filter_samples`; ``steps`` also sets the grid of the answer.

    Returns
    -------
    Smoothed
        Force and its posterior variance on the grid, and the likelihood.

    Notes
    -----
    Kalman filter in Joseph form, then the modified Bryson-Frazier smoother (Bierman 1977,
    *Factorization Methods for Discrete Sequential Estimation*), equal to the Rauch-Tung-Striebel
    smoother but free of matrix inverses. The variance is that of the model: where the true force is
    rougher than the density allows, it is too small.

    Examples
    --------
    >>> import numpy as np
    >>> from quintain.numerics.state_space import discretise, rig_model
    >>> model = rig_model([200.0], [0.02])
    >>> steps = discretise(model, 0.001, grid=8)
    >>> found = smooth_force(np.full(100, 50.0), model, steps, noise=1.0, density=np.full((3, 99), 1e3))
    >>> found.force.size, bool(abs(found.force[400] - 50.0) < 1.0)
    (793, True)
    """
    total, innovation, spread, xs, ps, gains = _run(samples, model, steps, noise, density, True)
    force, variance = _backward_kernel(model.drift.shape[0])(
        innovation, spread, xs, ps, gains, steps.transition, steps.noise, model.output, density, model.i_force
    )
    return Smoothed(force, np.maximum(variance, 0.0), float(total))
