"""One strike behind its rig: the likelihood of its samples, and beliefs about the force fitted to them."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.force_prior import (
    ForcePrior,
    Likelihood,
    Pulse,
    add_kinks,
    fit_scales,
    kinked_prior,
    measure_pulse,
    shift_edges,
)
from quintain.numerics.smoother import Smoothed, filter_samples, log_likelihood, smooth_force
from quintain.numerics.state_space import RigModel, Steps, discretise, rig_model

__all__ = ["Chain", "Fitted", "fit_belief", "fit_inner_kinks", "fit_kinked", "telling_part"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

EDGES_FROM = 20.0
"""Samples in the pulse from which the edges of contact may be moved by evidence."""


class Chain(NamedTuple):
    """What stays the same while natural frequency and damping are refined."""

    samples: Floats
    rate: float
    noise: float
    share: Floats
    force_frequency: float
    cutoff: float | None
    order: int
    grid: int

    def model(self, theta: Floats) -> RigModel:
        """Model at logarithms of natural frequencies and damping ratios."""
        n = theta.size // 2
        return rig_model(
            np.exp(theta[:n]),
            np.minimum(np.exp(theta[n:]), 0.95),
            self.share,
            force_frequency=self.force_frequency,
            anti_alias_cutoff=self.cutoff,
            anti_alias_order=self.order,
        )

    def steps(self, model: RigModel, grid: int = 1) -> Steps:
        """Exact steps of that model."""
        return discretise(model, 1 / self.rate, grid=grid)

    def likelihood(self, theta: Floats, part: slice) -> Likelihood:
        """Log-likelihood of densities over a part of the samples."""
        model = self.model(theta)
        steps = self.steps(model)
        samples = self.samples[part]

        def value(density: Floats) -> float:
            return log_likelihood(samples, model, steps, noise=self.noise, density=density)

        return value

    def innovations(self, density: Floats) -> Callable[[Floats], tuple[Floats, float]]:
        """Normalised innovations and log-likelihood of modes."""

        def at(theta: Floats) -> tuple[Floats, float]:
            model = self.model(theta)
            found = filter_samples(self.samples, model, self.steps(model), noise=self.noise, density=density)
            return found.innovation / found.u_innovation, found.log_likelihood

        return at

    def smooth(self, theta: Floats, density: Floats) -> Smoothed:
        """Force on the fine grid."""
        model = self.model(theta)
        steps = self.steps(model, self.grid)
        return smooth_force(self.samples, model, steps, noise=self.noise, density=density)

    def pulse(self, force: Floats, window: tuple[int, int]) -> Pulse:
        """Largest pulse within a window of samples."""
        first, last = window[0] * self.grid, window[1] * self.grid
        return measure_pulse(force, 1 / self.rate / self.grid, first, last)


class Fitted(NamedTuple):
    """One belief about the force with its scales chosen."""

    prior: ForcePrior
    scales: Floats
    evidence: float

    @property
    def density(self) -> Floats:
        """Densities over all intervals."""
        return self.prior.density(self.scales)


def telling_part(contact: Bools, samples_a_period: float) -> slice:
    """Samples that tell how rough the force is: contact and a little quiet on both sides."""
    i = np.flatnonzero(contact)
    after = int(20 + 2 * samples_a_period)
    return slice(max(int(i[0]) - 20, 0), min(int(i[-1]) + 2 + after, contact.size + 1))


def fit_belief(
    chain: Chain, theta: Floats, prior: ForcePrior, part: slice, start: Floats, tolerance: float = 0.05
) -> Fitted:
    """Choose the scales of a belief from a part of the samples."""
    short = ForcePrior(prior.profiles[:, :, part.start : part.stop - 1])
    scales, evidence = fit_scales(chain.likelihood(theta, part), short, start, tolerance=tolerance)
    return Fitted(prior, scales, evidence)


def fit_kinked(
    chain: Chain, theta: Floats, contact: Bools, pulse: Pulse, part: slice
) -> tuple[Fitted, Bools]:
    """Fit the smooth pulse with kinked ends; with enough samples its ends are looked for too."""
    omega = 2 * np.pi * chain.force_frequency

    def build(where: Bools) -> ForcePrior:
        return kinked_prior(where, pulse, omega, 1 / chain.rate)

    fitted = fit_belief(chain, theta, build(contact), part, np.zeros(2))
    if pulse.length * chain.rate < EDGES_FROM:
        return fitted, contact
    short = slice(part.start, part.stop - 1)
    moved = contact.copy()
    moved[short] = shift_edges(chain.likelihood(theta, part), contact[short], build, fitted.scales)
    return fit_belief(chain, theta, build(moved), part, fitted.scales), moved


def fit_inner_kinks(chain: Chain, theta: Floats, fitted: Fitted, part: slice) -> tuple[Fitted, int]:
    """Allow kinks inside contact where the samples ask for them."""
    short = slice(part.start, part.stop - 1)
    prior, scales, evidence, added = add_kinks(
        chain.likelihood(theta, part),
        ForcePrior(fitted.prior.profiles[:, :, short]),
        fitted.scales,
        fitted.evidence,
    )
    if not added:
        return fitted, 0
    profiles = fitted.prior.profiles.copy()
    profiles[:, :, short] = prior.profiles
    return Fitted(ForcePrior(profiles), scales, evidence), added
