"""Mixed models: effects of type, side, session, with people and their own habits as random."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.domain.shared_error import Source
from quintain.errors import StudyError
from quintain.numerics.uncertainty.coverage import coverage_factor
from quintain.study.common_part import CommonPart, Whole, common_of_sum, with_common
from quintain.study.compare import adjust_holm
from quintain.study.observations import Observations
from quintain.study.reml import RemlFit, effects_at, fit_reml, profile_intervals
from quintain.study.variance_table import f_tail

__all__ = [
    "Contrast",
    "MarginalMean",
    "MixedModel",
    "TermTest",
    "VarianceComponent",
    "fit_mixed",
    "sd_intervals",
]

Floats = NDArray[np.float64]


class VarianceComponent(NamedTuple):
    """One source of spread."""

    name: str
    """``person``, ``person:type`` ..., ``residual``."""
    variance: float
    """[square of the values' unit]"""
    sd: float
    """[as the values]"""
    share: float
    """Of the sum of all variances. [1]"""


class MarginalMean(NamedTuple):
    """Mean at one level, the other factors weighed equally."""

    factor: str
    level: Any
    mean: float
    """[as the values]"""
    se: float
    """[as the values]"""
    df: float
    interval: tuple[float, float]


class Contrast(NamedTuple):
    """Difference between two levels, first less second."""

    factor: str
    first: Any
    second: Any
    difference: float
    """[as the values]"""
    se: float
    df: float
    """Satterthwaite's degrees of freedom. [1]"""
    interval: tuple[float, float]
    """Of the difference alone, not widened for several. [as the values]"""
    t: float
    p: float
    p_holm: float
    """Adjusted by Holm over the contrasts of this factor. [1]"""
    common: CommonPart | None
    """What strikes share of the measurement uncertainty, in ``difference``; None where not told apart."""
    whole: Whole | None
    """Uncertainty of ``difference`` as a true one: ``se`` and ``common`` together; None as above."""


class TermTest(NamedTuple):
    """Test of one factor or interaction."""

    term: str
    f: float
    df1: int
    df2: float
    p: float


class MixedModel(NamedTuple):
    """A fitted model with all that a paper states."""

    n_people: int
    n_trials: int
    fixed: tuple[str, ...]
    random: tuple[str, ...]
    components: tuple[VarianceComponent, ...]
    means: tuple[MarginalMean, ...]
    contrasts: tuple[Contrast, ...]
    tests: tuple[TermTest, ...]
    singular: bool
    """A variance was estimated as 0."""
    words: tuple[str, ...]
    """What a reader must know of this fit."""
    log_likelihood: float
    """Restricted, for effects coded to sum 0: compare it between models of the same fixed part only. [1]"""


def _codes(obs: Observations, term: str) -> NDArray[np.int64]:
    """Number of the cell of each row, for ``a`` or ``a:b:c``."""
    return np.unique(obs.cells(*term.split(":")), return_inverse=True)[1]


def _sum_coded(obs: Observations, term: str) -> Floats:
    """Columns of a factor or interaction, coded so that each effect sums to 0 over levels."""
    block = np.ones((obs.value.size, 1))
    for factor in term.split(":"):
        levels = obs.levels(factor)
        code = np.vstack([np.eye(len(levels) - 1), -np.ones(len(levels) - 1)])
        place = {level: i for i, level in enumerate(levels)}
        rows = code[[place[v] for v in obs.column(factor).tolist()]]
        block = (block[:, :, None] * rows[:, None, :]).reshape(obs.value.size, -1)
    return block


def _default_random(obs: Observations, fixed: Sequence[str]) -> tuple[str, ...]:
    """``person``, and their own share of the day and of each fixed term done by people several times."""
    day = ["session"] if "session" in obs.factors and "session" not in fixed else []
    taken: dict[str, NDArray[np.int64]] = {}
    for term in ("person", *(f"person:{term}" for term in (*fixed, *day))):
        codes = _codes(obs, term)
        if np.unique(codes).size < obs.value.size and not any(
            _alike(codes, other) for other in taken.values()
        ):
            taken[term] = codes
    return tuple(taken)


def _alike(a: NDArray[np.int64], b: NDArray[np.int64]) -> bool:
    """Do two codings put the trials into the same groups?"""
    return bool(np.unique(a * (b.max() + 1) + b).size == np.unique(a).size == np.unique(b).size)


def _design(obs: Observations, fixed: Sequence[str]) -> tuple[Floats, dict[str, slice]]:
    blocks, where, at = [np.ones((obs.value.size, 1))], {}, 1
    for term in fixed:
        for factor in term.split(":"):
            if len(obs.levels(factor)) < 2:
                raise StudyError(
                    f"{factor!r} has one level only ({obs.levels(factor)[0]}): nothing to compare"
                )
        wide = math.prod(len(obs.levels(f)) for f in term.split(":"))
        if np.unique(_codes(obs, term)).size < wide:
            raise StudyError(f"some combination of {term} was never measured: leave the interaction out")
        block = _sum_coded(obs, term)
        blocks.append(block)
        where[term] = slice(at, at + block.shape[1])
        at += block.shape[1]
    design = np.hstack(blocks)
    if np.linalg.matrix_rank(design) < at:
        raise StudyError(
            f"{', '.join(fixed)} cannot be told apart in these trials (one follows from the "
            "others): leave one out"
        )
    return design, where


def _term_test(fit: RemlFit, term: str, columns: slice) -> TermTest:
    """F test of a term with the degrees of freedom of Fai and Cornelius (1996)."""
    part = fit.covariance[columns, columns]
    size, vectors = np.linalg.eigh(part)
    q = size.size
    f, df = 0.0, np.empty(q)
    for i in range(q):
        contrast = np.zeros(fit.beta.size)
        contrast[columns] = vectors[:, i]
        estimate, se, df[i] = fit.satterthwaite(contrast)
        f += (estimate / se) ** 2 / q
    expected = float(np.sum(df / np.where(df > 2, df - 2, np.inf)))
    df2 = 2 * expected / (expected - q) if (df > 2).all() else float(df.min())
    return TermTest(term, f, q, df2, f_tail(f, q, df2))


def _level_rows(obs: Observations, factor: str, columns: slice, width: int) -> list[Floats]:
    n_levels = len(obs.levels(factor))
    code = np.vstack([np.eye(n_levels - 1), -np.ones(n_levels - 1)])
    rows = []
    for own in code:
        row = np.zeros(width)
        row[0] = 1.0
        row[columns] = own
        rows.append(row)
    return rows


def _contrasts(
    obs: Observations,
    fit: RemlFit,
    shared: Mapping[Source, Floats],
    factor: str,
    rows: list[Floats],
    probability: float,
) -> tuple[Contrast, ...]:
    """``shared`` holds what each shared error makes of the fixed effects."""
    from scipy.special import stdtr

    found = []
    for (i, first), (j, second) in combinations(enumerate(obs.levels(factor)), 2):
        d, se, df = fit.satterthwaite(rows[i] - rows[j])
        half = coverage_factor(probability, df) * se
        p = float(2 * stdtr(df, -abs(d / se)))
        common = common_of_sum(shared, rows[i] - rows[j])
        whole = with_common(d, se, df, common, probability=probability)
        ends = (d - half, d + half)
        found.append(Contrast(factor, first, second, d, se, df, ends, d / se, p, p, common, whole))
    adjusted = adjust_holm([c.p for c in found])
    return tuple(c._replace(p_holm=p) for c, p in zip(found, adjusted, strict=True))


def fit_mixed(
    obs: Observations,
    fixed: Sequence[str],
    *,
    random: Sequence[str] | None = None,
    probability: float = 0.95,
) -> MixedModel:
    r"""
    Fit a mixed model with people as random and test the fixed terms.

    Parameters
    ----------
    obs : Observations
        All trials; they need not be balanced.
    fixed : sequence of str
        Factors, and interactions as ``"type:side"``. All are taken as categories.
    random : sequence of str, optional
        Random parts within people, such as ``["person", "person:type", "person:session"]``. By default
        ``person``, and ``person:term`` for every fixed term that people did at several levels with several
        trials each; ``person:session`` too where the trials name sessions: days of one person differ.
    probability : float
        Of the intervals. [1]

    Returns
    -------
    MixedModel
        Variance components with shares, marginal means, contrasts with Satterthwaite's degrees of freedom
        and Holm's adjustment, an F test for each term, and words on what the fit could not tell.

    Raises
    ------
    StudyError
        If there are fewer than three people, a factor has one level, a combination is missing, or the
        variances do not settle.

    Notes
    -----
    Restricted maximum likelihood; a person's own response to type or side is a random part of its own
    (Barr, D. J. et al. (2013), J. Mem. Lang. 68, 255-278): without it, fifty jabs of eight people would
    count as four hundred witnesses. In a complete table the tests are those of the repeated-measures
    analysis of variance. Where a variance is estimated as 0, its information still enters the degrees of
    freedom. With very few people and very unequal numbers the tests remain approximate. Tests and intervals
    are of the values as the rigs show them; what strikes share of the measurement goes into a contrast by the
    same weights as the trials, and stands beside it.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(5)
    >>> person, kind = np.repeat(np.arange(8), 12), np.tile(np.repeat([0, 1], 6), 8)
    >>> impulse = 30 + rng.normal(0, 4, 8)[person] + 3 * kind + rng.normal(0, 1.5, 96)
    >>> o = Observations("impulse", person, impulse, factors={"type": np.array(["jab", "cross"])[kind]})
    >>> model = fit_mixed(o, ["type"])
    >>> model.random, round(model.contrasts[0].difference, 1), round(model.contrasts[0].df, 1)
    (('person', 'person:type'), 2.7, 7.0)
    """
    n_people = len(obs.people)
    if n_people < 3:
        raise StudyError(
            f"a mixed model needs 3 people at least, better 8 or more, got {n_people}: the spread between "
            "people cannot be learnt from so few"
        )
    if not fixed:
        raise StudyError("name the factors to compare, such as type or side")
    chosen = tuple(_default_random(obs, fixed) if random is None else random)
    _check_random(obs, chosen)
    design, where = _design(obs, fixed)
    groups = (design, _codes(obs, "person"), [_codes(obs, term) for term in chosen])
    fit = fit_reml(obs.value, *groups)
    shared = {s: effects_at(fit.variances, column, *groups) for s, column in obs.common.items()}
    means: list[MarginalMean] = []
    contrasts: list[Contrast] = []
    for factor in (term for term in fixed if ":" not in term):
        rows = _level_rows(obs, factor, where[factor], design.shape[1])
        for level, row in zip(obs.levels(factor), rows, strict=True):
            mean, se, df = fit.satterthwaite(row)
            half = coverage_factor(probability, df) * se
            means.append(MarginalMean(factor, level, mean, se, df, (mean - half, mean + half)))
        contrasts += _contrasts(obs, fit, shared, factor, rows, probability)
    total = float(fit.variances.sum())
    components = tuple(
        VarianceComponent(name, float(v), math.sqrt(v), float(v) / total)
        for name, v in zip((*chosen, "residual"), fit.variances, strict=True)
    )
    nought = [c.name for c in components[:-1] if c.share < 1e-9]
    return MixedModel(
        n_people,
        obs.value.size,
        tuple(fixed),
        chosen,
        components,
        tuple(means),
        tuple(contrasts),
        tuple(_term_test(fit, term, where[term]) for term in fixed),
        bool(nought),
        _words(n_people, chosen, nought),
        fit.log_likelihood,
    )


def sd_intervals(
    obs: Observations, model: MixedModel, *, probability: float = 0.95
) -> tuple[tuple[float, float], ...]:
    """
    Intervals of the SDs of a fitted model, by profile likelihood.

    Parameters
    ----------
    obs : Observations
        The trials that were fitted.
    model : MixedModel
        Their model.
    probability : float
        Of the intervals. [1]

    Returns
    -------
    tuple of (float, float)
        In the order of ``model.components``; one begins at 0 where the trials do not exclude it. [as the
        values]

    Notes
    -----
    See :func:`~quintain.study.reml.profile_intervals`; it costs about ten times as much as the fit.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(5)
    >>> person, kind = np.repeat(np.arange(8), 12), np.tile(np.repeat([0, 1], 6), 8)
    >>> impulse = 30 + rng.normal(0, 4, 8)[person] + 3 * kind + rng.normal(0, 1.5, 96)
    >>> o = Observations("impulse", person, impulse, factors={"type": np.array(["jab", "cross"])[kind]})
    >>> model = fit_mixed(o, ["type"])
    >>> people = sd_intervals(o, model)[0]
    >>> round(model.components[0].sd, 1), [round(end, 1) for end in people]
    (3.5, [2.2, 6.6])
    """
    variances = np.array([component.variance for component in model.components])
    ends = profile_intervals(
        variances,
        obs.value,
        _design(obs, model.fixed)[0],
        _codes(obs, "person"),
        [_codes(obs, term) for term in model.random],
        probability=probability,
    )
    return tuple((math.sqrt(low), math.sqrt(high)) for low, high in ends)


def _check_random(obs: Observations, random: Sequence[str]) -> None:
    groups: dict[str, NDArray[np.int64]] = {}
    for term in random:
        if term.split(":")[0] != "person":
            raise StudyError(
                f"a random part must lie within people and begin with person, got {term!r}; "
                "a factor that all people share belongs to the fixed ones"
            )
        groups[term] = _codes(obs, term)
        if np.unique(groups[term]).size == obs.value.size:
            raise StudyError(f"every trial is a {term} of its own: nothing tells {term} from the residual")
    for (one, a), (other, b) in combinations(groups.items(), 2):
        if _alike(a, b):
            raise StudyError(f"{one} and {other} group the trials alike: leave one out")


def _words(n_people: int, random: Sequence[str], nought: Sequence[str]) -> tuple[str, ...]:
    words = [
        f"The variance of {name} was estimated as 0 (a boundary fit): these trials do not show it, which is "
        "no proof that it is absent."
        for name in nought
    ]
    if n_people < 8:
        words.append(f"{n_people} people are few: variances between people are rough, and so are the tests.")
    if "person" not in random:
        words.append("Each person gave one trial only: people and trials cannot be told apart.")
    return tuple(words)
