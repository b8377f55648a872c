"""Means over groups of strikes, with trials and people kept apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.errors import UsageError
from quintain.store.lab import Lab
from quintain.store.queries import FACTORS, HEADLINE, factor_levels
from quintain.store.queries_columns import StrikeColumns, dense
from quintain.store.queries_filter import StrikeFilter, matching
from quintain.store.queries_fresh import strike_columns

__all__ = ["GroupRow", "Summary", "group_summary"]


class Summary(NamedTuple):
    """
    One quantity in one group, in the SI unit of the glossary; None where nothing can be said.

    The first six take every trial alike. ``n_people``, ``person_mean`` and ``person_sd`` take each
    person once, by the mean of their own trials; ``within_sd`` is the spread of trials about their
    person's mean, pooled over people. Strikes without a person count among the trials alone.
    """

    n: int
    mean: float | None
    sd: float | None
    u_root_mean_square: float | None
    """Root of the mean square of the standard measurement uncertainties."""
    low: float | None
    high: float | None
    n_people: int
    person_mean: float | None
    person_sd: float | None
    within_sd: float | None


@dataclass(frozen=True, slots=True)
class GroupRow:
    """A group: its level of each factor, how many strikes and people, and its quantities."""

    levels: tuple[str, ...]
    n_strikes: int
    n_people: int
    quantities: Mapping[str, Summary]


def group_summary(
    lab: Lab,
    chosen: StrikeFilter | None = None,
    *,
    by: Sequence[str] = ("type", "side"),
    quantities: Sequence[str] = HEADLINE,
) -> tuple[GroupRow, ...]:
    """
    Describe groups of strikes.

    Parameters
    ----------
    lab : Lab
        The lab.
    chosen : StrikeFilter, optional
        Which strikes; all that are not gone if left out.
    by : sequence of str
        Factors, from :data:`quintain.store.queries.FACTORS`; none gives one group.
    quantities : sequence of str
        What to describe.

    Returns
    -------
    tuple of GroupRow
        Groups that hold a strike, sorted by their levels; levels that are not stated are empty and last.

    Raises
    ------
    UsageError
        If a factor, a quantity or something in the filter is not known.
    """
    for name in quantities:
        if name not in STRIKE_QUANTITIES:
            raise UsageError(f"a strike has no {name!r}; choose from {', '.join(STRIKE_QUANTITIES)}")
    for name in by:
        if name not in FACTORS:
            raise UsageError(f"strikes cannot be grouped by {name!r}; choose from {', '.join(FACTORS)}")
    columns = strike_columns(lab)
    rows = np.flatnonzero(matching(columns, chosen or StrikeFilter()))
    group, levels = _groups(columns, rows, by)
    person, people = factor_levels(columns, "person")
    cell, cell_group, named = _cells(group, person[rows], people)
    n_strikes = np.bincount(group, minlength=len(levels))
    n_people = np.bincount(cell_group[named], minlength=len(levels))
    described = {
        name: _describe(
            columns[name][rows], columns[f"u_{name}"][rows], cell, cell_group, named,
            len(levels),
        )
        for name in quantities
    }  # fmt: skip
    return tuple(
        GroupRow(level, int(n_strikes[i]), int(n_people[i]), {q: described[q][i] for q in quantities})
        for i, level in enumerate(levels)
    )


def _groups(
    columns: StrikeColumns, rows: NDArray[np.intp], by: Sequence[str]
) -> tuple[NDArray[np.int64], list[tuple[str, ...]]]:
    """Group of every row, and the levels of the groups that hold any."""
    code = np.zeros(rows.size, dtype=np.int64)
    factors = [factor_levels(columns, name) for name in by]
    for codes, words in factors:
        code = code * max(len(words), 1) + codes[rows]
    there, group = dense(code)
    levels = []
    for one in there.tolist():
        level: list[str] = []
        for _, words in reversed(factors):
            one, place = divmod(one, max(len(words), 1))
            level.append(words[place])
        levels.append(tuple(reversed(level)))
    return group, levels


def _cells(
    group: NDArray[np.int64], person: NDArray[np.int64], people: tuple[str, ...]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Cell (group and person) of every row, the group of each cell, and whether its person is known."""
    size = max(len(people), 1)
    there, cell = dense(group * size + person)
    known = np.array([word != "" for word in people] or [False], dtype=bool)
    return cell, there // size, known[there % size]


def _describe(
    value: NDArray[np.float64],
    u: NDArray[np.float64],
    cell: NDArray[np.int64],
    cell_group: NDArray[np.int64],
    named: NDArray[np.bool_],
    n_groups: int,
) -> list[Summary]:
    stated = ~np.isnan(value)
    value, u, cell = value[stated], u[stated], cell[stated]
    n_cells = cell_group.size
    n_cell = np.bincount(cell, minlength=n_cells)
    full = n_cell > 0
    sum_cell = np.bincount(cell, value, n_cells)
    mean_cell = np.divide(sum_cell, n_cell, out=np.zeros(n_cells), where=full)
    within_cell = np.bincount(cell, (value - mean_cell[cell]) ** 2, n_cells)
    n = np.bincount(cell_group, n_cell, n_groups).astype(np.int64)
    mean = _ratio(np.bincount(cell_group, sum_cell, n_groups), n)
    between = np.bincount(cell_group, n_cell * (mean_cell - mean[cell_group]) ** 2, n_groups)
    within = np.bincount(cell_group, within_cell, n_groups)
    low, high = np.full(n_groups, np.inf), np.full(n_groups, -np.inf)
    np.minimum.at(low, cell_group[cell], value)
    np.maximum.at(high, cell_group[cell], value)
    known_u = ~np.isnan(u)
    square = np.bincount(cell_group[cell[known_u]], u[known_u] ** 2, n_groups)
    n_u = np.bincount(cell_group[cell[known_u]], minlength=n_groups)
    person = full & named
    of = cell_group[person]
    n_people = np.bincount(of, minlength=n_groups)
    person_mean = _ratio(np.bincount(of, mean_cell[person], n_groups), n_people)
    spread = np.bincount(of, (mean_cell[person] - person_mean[of]) ** 2, n_groups)
    n_named = np.bincount(of, n_cell[person], n_groups)
    within_named = np.bincount(of, within_cell[person], n_groups)
    told = [
        n, mean, np.sqrt(_ratio(within + between, n - 1)), np.sqrt(_ratio(square, n_u)), low, high, n_people,
        person_mean, np.sqrt(_ratio(spread, n_people - 1)), np.sqrt(_ratio(within_named, n_named - n_people)),
    ]  # fmt: skip
    return [Summary._make(row) for row in zip(*map(_stated, told), strict=True)]


def _ratio(above: NDArray[Any], below: NDArray[Any]) -> NDArray[np.float64]:
    """Quotient, nan where nothing lies below."""
    out: NDArray[np.float64] = np.divide(above, below, out=np.full(above.shape, np.nan), where=below > 0)
    return out


def _stated(values: NDArray[Any]) -> list[Any]:
    """Plain numbers, None for what cannot be said."""
    plain = values.astype(object)
    plain[~np.isfinite(values)] = None
    return list(plain)
