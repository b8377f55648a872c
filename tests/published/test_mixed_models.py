"""
Restricted likelihood against worked examples and another implementation.

Source: Pinheiro, J. C. and Bates, D. M. (2000), Mixed-Effects Models in S and S-PLUS, sections 1.1 (travel
times in rails) and 1.3 (productivity of workers on machines); tables and values from memory. Values
printed to seven digits; the data as recalled give all of them, so they are the book's.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from scipy.optimize import minimize

from quintain.domain.shared_error import Source
from quintain.study.mixed import fit_mixed
from quintain.study.observations import Observations
from quintain.study.reml import fit_reml, profile_intervals

RAILS = [[55, 53, 54], [26, 37, 32], [78, 91, 85], [92, 100, 96], [49, 51, 50], [80, 85, 83]]
MACHINES = {
    "A": "52.0 52.8 53.1 51.8 52.8 53.1 60.0 60.2 58.4 51.1 52.3 50.3 50.9 51.8 51.4 46.4 44.8 49.2",
    "B": "62.1 62.6 64.0 59.7 60.0 59.0 68.6 65.8 69.7 63.2 62.8 62.2 64.8 65.0 65.4 43.7 44.2 43.0",
    "C": "67.5 67.2 66.9 61.5 61.7 62.3 70.8 70.6 71.0 64.1 66.2 64.0 72.1 72.0 71.1 62.0 61.4 60.5",
}
# a restricted likelihood depends on how effects are coded: theirs against a first level, ours to sum 0,
# which for three levels differs by the determinant 3 between the codings
CODING = np.log(3)
# seven printed digits, which the book's program reached to about 1e-6
PRINTED = 3e-6


def machines() -> Observations:
    score = np.concatenate([np.array(row.split(), dtype=float) for row in MACHINES.values()])
    worker = np.tile(np.repeat(np.arange(1, 7), 3), 3)
    kind = np.repeat(list(MACHINES), 18)
    return Observations("impulse", worker, score, factors={"type": kind})  # scores, not impulses


def test_rails():
    rail = np.repeat(np.arange(6), 3)
    fit = fit_reml(np.ravel(RAILS), np.ones((18, 1)), rail, [rail])
    assert np.sqrt(fit.variances) == pytest.approx([24.80547, 4.020779], rel=PRINTED)
    assert fit.beta[0] == pytest.approx(66.5, rel=1e-12)
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(10.17104, rel=PRINTED)
    assert fit.log_likelihood == pytest.approx(-61.0885, abs=5e-5)
    # six rails: the mean has exactly five degrees of freedom
    assert fit.satterthwaite([1.0])[2] == pytest.approx(5, rel=1e-9)


def test_machines():
    model = fit_mixed(machines(), ["type"])
    assert model.random == ("person", "person:type")
    assert [c.sd for c in model.components] == pytest.approx([4.78105, 3.729532, 0.9615771], rel=PRINTED)
    assert model.log_likelihood + CODING == pytest.approx(-107.8438, abs=5e-5)
    b_less_a = model.contrasts[0]
    assert (b_less_a.first, b_less_a.second) == ("A", "B")
    assert b_less_a.difference == pytest.approx(-7.966667, rel=PRINTED)
    assert b_less_a.se == pytest.approx(2.176974, rel=PRINTED)
    assert b_less_a.df == pytest.approx(10, rel=1e-8)
    assert model.means[0].mean == pytest.approx(52.35556, rel=PRINTED)
    assert model.means[0].se == pytest.approx(2.485829, rel=PRINTED)


def restricted_deviance(variances, y, x, groups):
    """
    Textbook formula with the whole matrix V, up to a constant: log|V| + log|X'V^-1 X| + r'V^-1 r.

    Patterson and Thompson (1971), Biometrika 58, 545-554.
    """
    v = variances[-1] * np.eye(y.size)
    for part, codes in zip(variances, groups, strict=False):
        v += part * (codes[:, None] == codes)
    weighed = np.linalg.solve(v, np.column_stack([x, y]))
    inner = x.T @ weighed[:, :-1]
    left = y - x @ np.linalg.solve(inner, x.T @ weighed[:, -1])
    return np.linalg.slogdet(v)[1] + np.linalg.slogdet(inner)[1] + left @ np.linalg.solve(v, left)


def test_intervals_of_variances_lie_where_the_profile_has_fallen():
    """Chi-square of one degree of freedom, 3.8415 at 95 % (any table); by another optimiser and formula."""
    o = machines()
    worker, kind = (
        np.unique(o.person, return_inverse=True)[1],
        np.unique(o.factors["type"], return_inverse=True)[1],
    )
    groups, x = (worker, 3 * worker + kind), np.eye(3)[kind]
    fit = fit_reml(o.value, x, worker, list(groups))
    top = restricted_deviance(fit.variances, o.value, x, groups)
    for j, ends in enumerate(profile_intervals(fit.variances, o.value, x, worker, list(groups))):
        for end in ends:

            def others(logs, j=j, end=end):
                return restricted_deviance(np.insert(np.exp(logs), j, end), o.value, x, groups)

            best = minimize(others, np.log(np.delete(fit.variances, j)), method="Nelder-Mead",
                            options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 4000})  # fmt: skip
            # the end is closed in to 1e-3 of itself, where the deviance rises by less than ten times that
            assert best.fun - top == pytest.approx(3.8415, abs=1e-2)


def test_the_interval_of_a_residual_is_near_the_books():
    # nlme's intervals(): 2.6950 to 5.9988 about 4.0208 and 13.274 to 46.353 about 24.805 (section 1.1; from
    # memory), symmetric in the logarithm; a profile is not, by some hundredths for 12 degrees of freedom
    rail = np.repeat(np.arange(6), 3)
    fit = fit_reml(np.ravel(RAILS), np.ones((18, 1)), rail, [rail])
    rails, residual = np.sqrt(
        profile_intervals(fit.variances, np.ravel(RAILS), np.ones((18, 1)), rail, [rail])
    )
    assert residual == pytest.approx([2.6950, 5.9988], rel=0.08)
    # between six rails, 5 degrees of freedom, a profile leans to the right by more
    assert 13.274 < rails[0] < 24.805 < 46.353 < rails[1] < 60


def test_a_variance_that_may_be_nought_begins_there():
    rng = np.random.default_rng(2)
    person, y = np.repeat(np.arange(6), 4), rng.normal(30, 1, 24)
    fit = fit_reml(y, np.ones((24, 1)), person, [person])
    people, residual = profile_intervals(fit.variances, y, np.ones((24, 1)), person, [person])
    assert people[0] == 0.0
    assert people[1] > fit.variances[0]
    assert residual[0] < fit.variances[1] < residual[1]


def test_balanced_table_is_its_analysis_of_variance():
    # F of type against worker by type with 2 and 10 degrees of freedom, by the textbook formula
    cells = np.array([np.array(row.split(), dtype=float).reshape(6, 3) for row in MACHINES.values()])
    means = cells.mean(axis=2)
    grand, rows, columns = means.mean(), means.mean(axis=1), means.mean(axis=0)
    error = ((means - rows[:, None] - columns + grand) ** 2).sum() / 10
    f = 6 * ((rows - grand) ** 2).sum() / 2 / error
    test = fit_mixed(machines(), ["type"]).tests[0]
    # REML ends at steps of 1e-8 of the variances, on a complete table far closer
    assert test.f == pytest.approx(f, rel=1e-8)
    assert (test.df1, test.df2) == (2, pytest.approx(10, rel=1e-7))


def test_balanced_table_against_statsmodels():
    anova = pytest.importorskip("statsmodels.stats.anova")
    pandas = pytest.importorskip("pandas")
    o = machines().means("type")
    frame = pandas.DataFrame({"y": o.value, "person": o.person, "type": o.factors["type"]})
    row = anova.AnovaRM(frame, "y", "person", within=["type"]).fit().anova_table.iloc[0]
    test = fit_mixed(machines(), ["type"]).tests[0]
    assert test.f == pytest.approx(row["F Value"], rel=1e-8)
    assert test.p == pytest.approx(row["Pr > F"], rel=1e-6)


def test_unbalanced_trials_against_statsmodels():
    # two optimisers of one likelihood: variances agree to about 1e-4, the likelihood at its flat top to 1e-8
    api = pytest.importorskip("statsmodels.api")
    pandas = pytest.importorskip("pandas")
    rng = np.random.default_rng(4)
    person, kind = np.repeat(np.arange(8), 24), np.tile(np.repeat(np.arange(3), 8), 8)
    y = (
        30
        + rng.normal(0, 5, 8)[person]
        + rng.normal(0, 2, (8, 3))[person, kind]
        + rng.normal(0, 2, 192)
        + kind
    )
    keep = rng.random(192) < 0.7
    o = Observations("impulse", person[keep], y[keep], factors={"type": kind[keep]})
    model = fit_mixed(o, ["type"])
    frame = pandas.DataFrame({"y": y[keep], "person": person[keep], "type": kind[keep]})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = api.MixedLM.from_formula(
            "y ~ C(type)", frame, groups="person", re_formula="1", vc_formula={"own": "0 + C(type)"}
        ).fit(reml=True)
    ours = [c.variance for c in model.components]
    theirs = [float(other.cov_re.iloc[0, 0]), float(other.vcomp[0]), float(other.scale)]
    assert ours == pytest.approx(theirs, rel=1e-3)
    assert model.log_likelihood + CODING == pytest.approx(other.llf, abs=1e-6)
    assert model.log_likelihood + CODING >= other.llf - 1e-9
    assert -model.contrasts[0].difference == pytest.approx(other.fe_params["C(type)[T.1]"], rel=1e-4)
    # its standard errors come from a numerical curvature and stray by 1e-3; the textbook's (X'V^-1 X)^-1
    # with the whole matrix V, at its variances, is the check
    of_person, of_cell = person[keep], person[keep] * 3 + kind[keep]
    same, own, residual = theirs
    v = (
        same * (of_person[:, None] == of_person)
        + own * (of_cell[:, None] == of_cell)
        + residual * np.eye(keep.sum())
    )
    x = np.column_stack([kind[keep] == level for level in range(3)]).astype(float)
    c = np.linalg.inv(x.T @ np.linalg.solve(v, x))
    assert model.contrasts[0].se == pytest.approx(np.sqrt(c[0, 0] + c[1, 1] - 2 * c[0, 1]), rel=1e-4)
    # a gain known to 1 % on the trials of one type alone: its contribution through the same matrix
    part = np.where(kind[keep] == 1, 0.01 * y[keep], 0.0)
    gain = {Source("gain", "gain", "post (invented)"): part}
    own = fit_mixed(
        Observations("impulse", person[keep], y[keep], y[keep], gain, {"type": kind[keep]}), ["type"]
    )
    through = c @ x.T @ np.linalg.solve(v, part)
    assert own.contrasts[0].common.u == pytest.approx(abs(through[0] - through[1]), rel=1e-4)
    assert own.contrasts[0].interval == model.contrasts[0].interval
    assert model.contrasts[0].common is None, "nothing was said of it"
