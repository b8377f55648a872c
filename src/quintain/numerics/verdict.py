"""Whether a measuring chain told the truth about a drop: pass, fail, or undecided, with reasons."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

from quintain.numerics.uncertainty.linear import Contribution, Estimate

__all__ = ["Decision", "Verdict", "combine_gains", "en_number", "judge_gain"]

Decision = Literal["pass", "fail", "undecided"]

PASSED: Decision = "pass"
FAILED: Decision = "fail"
UNDECIDED: Decision = "undecided"


class Verdict(NamedTuple):
    """A decision and what it rests on."""

    decision: Decision
    """'pass', 'fail' or 'undecided'."""
    e_n: float | None
    """Deviation over its expanded uncertainty; None where there is no deviation to be had. [1]"""
    reasons: tuple[str, ...]
    """In plain words, at least one."""


def en_number(value: float, expanded: float, reference: float, expanded_reference: float = 0.0) -> float:
    r"""
    Deviation from a reference over the expanded uncertainty of the deviation.

    Parameters
    ----------
    value, reference : float
        What is compared. [any]
    expanded, expanded_reference : float
        Their expanded uncertainties (k = 2), at least one above 0. [as value]

    Returns
    -------
    e_n : float
        With its sign; the agreement is accepted for :math:`|E_n|\le1`. [1]

    Raises
    ------
    ValueError
        If an uncertainty is negative or both are 0.

    Notes
    -----
    :math:`E_n=(x-X)/\sqrt{U_x^2+U_X^2}`, ISO 13528:2015, 9.7 (from memory). Values and references
    that share an error agree better than this says.

    Examples
    --------
    >>> en_number(1005.0, 8.0, 1000.0, 6.0)
    0.5
    """
    if not (expanded >= 0 and expanded_reference >= 0 and expanded + expanded_reference > 0):
        raise ValueError(
            "expanded uncertainties must not be negative and not both 0, "
            f"got {expanded} and {expanded_reference}"
        )
    return (value - reference) / math.hypot(expanded, expanded_reference)


def judge_gain(
    gain: Estimate | None,
    *,
    u_gain: float,
    largest_expanded: float = 0.03,
    doubts: Sequence[str] = (),
    coverage: float = 2.0,
) -> Verdict:
    """
    Judge a chain by the gain that drops gave it.

    Parameters
    ----------
    gain : Estimate or None
        True force over shown force; None if the drops gave none. [1]
    u_gain : float
        Standard uncertainty that the chain claims for its gain of 1. [1]
    largest_expanded : float
        Expanded uncertainty of the gain above which nothing is decided. [1]
    doubts : sequence of str
        Reasons, in plain words, for which the drops decide nothing.
    coverage : float
        Factor from standard to expanded uncertainty.

    Returns
    -------
    Verdict
        Undecided if there is a doubt, no gain, or too large an uncertainty; else by
        :func:`en_number`.

    Examples
    --------
    >>> judge_gain(Estimate(1.03, 0.002), u_gain=0.0025).decision
    'fail'
    >>> judge_gain(Estimate(1.03, 0.03), u_gain=0.0025).decision
    'undecided'
    """
    e_n = None
    if gain is not None:
        e_n = en_number(gain.value, coverage * gain.u, 1.0, coverage * u_gain)
    if doubts:
        return Verdict(UNDECIDED, e_n, tuple(doubts))
    if gain is None or e_n is None:
        return Verdict(UNDECIDED, None, ("The drops gave no gain to judge.",))
    stated = f"the chain's gain is {gain.value:.4f} with U = {coverage * gain.u:.4f} (k = {coverage:g})"
    claim = f"1 with U = {coverage * u_gain:.4f}"
    if coverage * gain.u > largest_expanded:
        return Verdict(
            UNDECIDED,
            e_n,
            (f"From the drops {stated}; that is too uncertain to decide at {100 * largest_expanded:g} %.",),
        )
    if abs(e_n) <= 1:
        return Verdict(PASSED, e_n, (f"From the drops {stated}; it agrees with {claim}: E_n = {e_n:.2f}.",))
    off = 100 * (1 / gain.value - 1)
    return Verdict(
        FAILED,
        e_n,
        (
            f"From the drops {stated}; it disagrees with {claim}: E_n = {e_n:.2f}. "
            f"The chain shows forces {abs(off):.1f} % too {'high' if off > 0 else 'low'}, or mass or height "
            "are not what was stated.",
        ),
    )


def combine_gains(
    gains: Sequence[Estimate], *, shared: Sequence[str] = ("mass", "gravity", "height", "pad recovery")
) -> Estimate:
    r"""
    Join the gains of several drops, with what they share not averaged away.

    Parameters
    ----------
    gains : sequence of Estimate
        One or more, each with its contributions. [1]
    shared : sequence of str
        Names of contributions that are the same in all drops.

    Returns
    -------
    Estimate
        Mean weighed by the uncertainty each drop has for itself. [1]

    Raises
    ------
    ValueError
        If no gain is given.

    Notes
    -----
    Where the drops scatter more than they claim, their own part is widened by the root of the mean
    square (Birge 1932, Phys. Rev. 40:207, doi:10.1103/PhysRev.40.207); it is never narrowed.

    Examples
    --------
    >>> a = Estimate(1.001, 0.005, (Contribution("noise", 0.003), Contribution("mass", 0.004)))
    >>> b = Estimate(0.999, 0.005, (Contribution("noise", 0.003), Contribution("mass", 0.004)))
    >>> joined = combine_gains([a, b])
    >>> round(joined.value, 6), round(joined.u, 5)
    (1.0, 0.00453)
    """
    if not gains:
        raise ValueError("no gain to combine")
    own = [
        math.hypot(*(c.u for c in g.contributions if c.name not in shared)) if g.contributions else g.u
        for g in gains
    ]
    weights = [1 / max(u, 1e-6) ** 2 for u in own]
    total = sum(weights)
    value = sum(w * g.value for w, g in zip(weights, gains, strict=True)) / total
    chi2 = sum(w * (g.value - value) ** 2 for w, g in zip(weights, gains, strict=True))
    widen = math.sqrt(max(1.0, chi2 / (len(gains) - 1))) if len(gains) > 1 else 1.0
    parts = [Contribution("scatter of drops", widen / math.sqrt(total))]
    for name in shared:
        common = sum(
            w * next((c.u for c in g.contributions if c.name == name), 0.0)
            for w, g in zip(weights, gains, strict=True)
        )
        parts.append(Contribution(name, common / total))
    return Estimate(value, math.hypot(*(p.u for p in parts)), tuple(parts))
