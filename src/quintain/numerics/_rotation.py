"""Small rotations chained into an attitude, and running integrals of vectors."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def as_vectors(samples: ArrayLike, name: str, n: int | None = None) -> Floats:
    """Samples of a vector as floats of shape (n, 3), finite or refused."""
    vectors = np.asarray(samples, dtype=float)
    if vectors.ndim != 2 or vectors.shape[1] != 3 or (n is not None and vectors.shape[0] != n):
        expected = "(n, 3)" if n is None else f"({n}, 3)"
        raise ValueError(f"{name} must have shape {expected}, got {vectors.shape}")
    if not np.isfinite(vectors).all():
        first = int(np.flatnonzero(~np.isfinite(vectors).all(axis=1))[0])
        raise ValueError(f"{name} must be finite, but sample {first} is {vectors[first].tolist()}")
    return vectors


def rotation_matrices(vectors: Floats) -> Floats:
    """
    Rotation matrices of rotation vectors, shape (n, 3, 3), by Rodrigues' formula.

    The series of the coefficients is used below 1e-4 rad, where the closed form loses digits; what it
    leaves out is of order angle⁴, below 1e-16 there.
    """
    angle2 = np.einsum("ij,ij->i", vectors, vectors)
    angle = np.sqrt(angle2)
    small = angle < 1e-4
    safe = np.where(small, 1.0, angle)
    sine = np.where(small, 1 - angle2 / 6, np.sin(safe) / safe)
    cosine = np.where(small, 0.5 - angle2 / 24, (1 - np.cos(safe)) / safe**2)
    x, y, z = vectors.T
    zero = np.zeros_like(x)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)
    return np.asarray(np.eye(3) + sine[:, None, None] * cross + cosine[:, None, None] * (cross @ cross))


def chain(steps: Floats) -> Floats:
    """Attitude after 0, 1, 2, ... body-fixed rotations, shape (n + 1, 3, 3), the first being none."""
    attitude = np.empty((steps.shape[0] + 1, 3, 3))
    attitude[0] = np.eye(3)
    for i, step in enumerate(steps):
        np.matmul(attitude[i], step, out=attitude[i + 1])
    return attitude


def running_integral(samples: Floats, rate: float) -> Floats:
    """Trapezoid rule from the first sample to each one, along the first axis."""
    integral = np.zeros_like(samples)
    np.cumsum((samples[1:] + samples[:-1]) / (2 * rate), axis=0, out=integral[1:])
    return integral
