"""Results as a study sees them: one row a trial, with who, what and how certain."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.domain.shared_error import UNKNOWN, Source
from quintain.errors import StudyError
from quintain.quantities import GLOSSARY

__all__ = ["Observations", "PersonTable", "level_order", "number_trials"]

Floats = NDArray[np.float64]
Column = NDArray[Any]


class PersonTable(NamedTuple):
    """One value for every person and level: the balanced table that reliability needs."""

    people: tuple[str, ...]
    levels: tuple[Any, ...]
    values: Floats
    """Shape (people, levels), in the SI unit of the quantity."""


def level_order(level: object) -> tuple[Any, ...]:
    """
    Key that sorts numbers by size and names as people count: "s2" before "s10".

    Parameters
    ----------
    level : object
        A number or a name.

    Returns
    -------
    tuple
        Something to sort by.

    Examples
    --------
    >>> sorted(["s10", "s2", "a"], key=level_order)
    ['a', 's2', 's10']
    """
    if isinstance(level, int | float | np.number):
        return (0, float(level))
    parts = re.split(r"(\d+)", str(level))
    return (1, *((int(p), "") if p.isdigit() else (-1, p) for p in parts))


def _column(values: ArrayLike, name: str, n: int) -> Column:
    column = np.array(values)
    if column.ndim != 1 or column.size != n:
        raise StudyError(
            f"column {name!r} has {column.size} entries for {n} trials; give one entry for every trial"
        )
    if column.dtype.kind in "OUS":
        column = np.array([str(v).strip() if v is not None else "" for v in column.tolist()], dtype=str)
        empty = np.flatnonzero((column == "") | (column == "nan"))
    elif column.dtype.kind in "iub":
        return column
    else:
        column = column.astype(float)
        empty = np.flatnonzero(~np.isfinite(column))
    if empty.size:
        raise StudyError(
            f"column {name!r} is empty in row {int(empty[0]) + 1} ({empty.size} in all); "
            "fill it in or leave those trials out"
        )
    return column


def _uncertainty(values: ArrayLike | None, name: str, n: int) -> Floats:
    if values is None:
        return np.full(n, np.nan)
    u = np.array(values, dtype=float)
    if u.shape != (n,):
        raise StudyError(f"{name!r} has {u.size} entries for {n} trials; give one for every trial")
    wrong = np.flatnonzero((u < 0) | np.isinf(u))
    if wrong.size:
        raise StudyError(f"{name!r} must be 0 or more, but row {int(wrong[0]) + 1} holds {u[wrong[0]]}")
    return u


def _contribution(values: ArrayLike, source: Source, n: int) -> Floats:
    column = np.array(values, dtype=float)
    if column.shape != (n,) or np.isinf(column).any():
        raise StudyError(
            f"the share of {source.name or source.part!r} needs one number for each of {n} trials"
        )
    return column


@dataclass(frozen=True, eq=False)
class Observations:
    """
    Trials of one quantity.

    Parameters
    ----------
    quantity : str
        Glossary name of what was measured.
    person : array_like of str, shape (n,)
        Code of the person of each trial.
    value : array_like, shape (n,)
        Measured values, finite. [SI unit of the glossary]
    u : array_like, shape (n,), optional
        Standard measurement uncertainty of each value; nan where unknown. [as the values]
    common : mapping of Source to array_like of shape (n,), optional
        What trials share of ``u``: the signed contribution of each shared error to each trial (gain,
        sensor ...), which does not average out. nan where it cannot be told, and everywhere if left out.
        [as the values]
    factors : mapping of str to array_like of shape (n,)
        What else is known of each trial: ``type``, ``side``, ``session``, ``series``, ``trial``, ``rig``.

    Raises
    ------
    StudyError
        If a column is short or empty somewhere, or a value is not finite.

    Notes
    -----
    Each shared error is one unknown number for all trials, so its contribution to a mean is the mean of the
    contributions, and to a difference their difference, with their signs (JCGM 100:2008, 5.2.2; errors of
    different sources are independent).

    Examples
    --------
    >>> o = Observations("impulse", ["a", "a", "b", "b"], [20.0, 22.0, 30.0, 34.0],
    ...                  factors={"session": [1, 2, 1, 2]})
    >>> o.means().value
    array([21., 32.])
    >>> o.table("session").values
    array([[20., 22.],
           [30., 34.]])
    """

    quantity: str
    person: Column
    value: Floats
    u: Floats = None  # type: ignore[assignment]  # an array once made
    common: Mapping[Source, Floats] = None  # type: ignore[assignment]  # a mapping once made
    factors: Mapping[str, Column] = field(default_factory=dict)
    u_common: Floats = field(init=False)
    """Standard uncertainty of each trial from all shared errors; nan where it cannot be told."""

    def __post_init__(self) -> None:
        if self.quantity not in GLOSSARY:
            raise StudyError(f"{self.quantity!r} is not in the glossary; choose from {', '.join(GLOSSARY)}")
        value = np.array(self.value, dtype=float)
        if value.ndim != 1 or value.size == 0:
            raise StudyError(f"there is no trial of {self.quantity!r}; check the selection")
        wrong = np.flatnonzero(~np.isfinite(value))
        if wrong.size:
            raise StudyError(
                f"{wrong.size} of {value.size} trials have no value of {self.quantity!r}, the first in row "
                f"{int(wrong[0]) + 1}; leave them out by name and say so, they cannot count as trials"
            )
        n = value.size
        person = _column(np.array(self.person).astype(str), "person", n)
        u = _uncertainty(self.u, "u", n)
        common = {UNKNOWN: np.full(n, np.nan)} if self.common is None else dict(self.common)
        common = {source: _contribution(column, source, n) for source, column in common.items()}
        u_common = np.sqrt(sum((column**2 for column in common.values()), np.zeros(n)))
        if (u_common > u * (1 + 1e-9)).any():
            raise StudyError("what is shared of u cannot be larger than u; give u as the whole uncertainty")
        factors = {name: _column(column, name, n) for name, column in self.factors.items()}
        for array in (value, person, u, u_common, *common.values(), *factors.values()):
            array.setflags(write=False)
        for name, array in {"person": person, "value": value, "u": u, "u_common": u_common}.items():
            object.__setattr__(self, name, array)
        object.__setattr__(self, "common", MappingProxyType(common))
        object.__setattr__(self, "factors", MappingProxyType(factors))

    @classmethod
    def of_columns(
        cls, columns: Mapping[str, ArrayLike], common: Mapping[Source, Floats] | None = None
    ) -> Observations:
        """
        Take a tidy table: ``quantity``, ``person``, ``value``, perhaps ``u``, and factors.

        Raises :class:`StudyError` if one of the first three is missing or quantities are mixed.

        Examples
        --------
        >>> Observations.of_columns({"quantity": ["impulse"] * 2, "person": ["a", "b"],
        ...                          "value": [20.0, 30.0], "side": ["left", "left"]}).people
        ('a', 'b')
        """
        missing = [name for name in ("quantity", "person", "value") if name not in columns]
        if missing:
            raise StudyError(f"the table has no column {missing[0]!r}; it has {', '.join(columns)}")
        quantities = sorted({str(q) for q in np.atleast_1d(np.asarray(columns["quantity"])).tolist()})
        if len(quantities) != 1:
            raise StudyError(
                f"one quantity at a time: the table mixes {', '.join(quantities) or 'nothing'}; select one"
            )
        own = {"quantity", "person", "value", "u"}
        return cls(
            quantities[0],
            columns["person"],  # type: ignore[arg-type]
            columns["value"],  # type: ignore[arg-type]
            columns.get("u"),  # type: ignore[arg-type]
            common,  # type: ignore[arg-type]
            {name: np.asarray(c) for name, c in columns.items() if name not in own},
        )

    @property
    def people(self) -> tuple[str, ...]:
        """Codes of the people, sorted."""
        return tuple(self.levels("person"))

    def column(self, name: str) -> Column:
        """Entries of ``person`` or of a factor; StudyError names what there is."""
        if name == "person":
            return self.person
        if name not in self.factors:
            there = ", ".join(self.factors) or "none"
            raise StudyError(f"the trials carry no {name!r}; factors at hand: {there}")
        return self.factors[name]

    def levels(self, name: str) -> tuple[Any, ...]:
        """Different entries of a column, sorted as people count."""
        return tuple(sorted(np.unique(self.column(name)).tolist(), key=level_order))

    def rows(self, keep: ArrayLike) -> Observations:
        """Trials picked by mask or index."""
        k = np.asarray(keep)
        factors = {name: column[k] for name, column in self.factors.items()}
        common = {source: column[k] for source, column in self.common.items()}
        return Observations(self.quantity, self.person[k], self.value[k], self.u[k], common, factors)

    def select(self, **levels: Any) -> Observations:
        """Trials at a level, or at one of several: ``select(type="jab", side=["left", "right"])``."""
        keep = np.ones(self.value.size, dtype=bool)
        for name, wanted in levels.items():
            column = self.column(name)
            wished = list(wanted) if isinstance(wanted, list | tuple | set | np.ndarray) else [wanted]
            keep &= np.isin(column, _like(column, wished))
            if not keep.any():
                there = ", ".join(map(str, self.levels(name)))
                raise StudyError(f"no trial is left with {name} = {wanted}; {name} at hand: {there}")
        return self.rows(keep)

    def means(self, *by: str) -> Observations:
        """
        Mean of each person, or of each person at each combination of the named factors.

        What trials share goes into a mean as the mean of their contributions; the rest is divided by the root
        of the number of trials. The uncertainty of a mean is nan where that cannot be told and there are
        several trials.
        """
        code = self.cells("person", *by)
        _, first, index, count = np.unique(code, return_index=True, return_inverse=True, return_counts=True)
        own = np.bincount(index, self.u**2 - self.u_common**2) / count**2
        common = {s: np.bincount(index, column) / count for s, column in self.common.items()}
        shared = sum((column**2 for column in common.values()), np.zeros(count.size))
        u = np.where(count == 1, self.u[first], np.sqrt(np.maximum(own, 0) + shared))
        factors = {name: self.column(name)[first] for name in by}
        value = np.bincount(index, self.value) / count
        return Observations(self.quantity, self.person[first], value, u, common, factors)

    def cells(self, *names: str) -> NDArray[np.int64]:
        """Number of the combination of the named columns to which each trial belongs."""
        code = np.zeros(self.value.size, dtype=np.int64)
        for name in names:
            levels = self.levels(name)
            code = code * len(levels) + _index(self.column(name), levels)
        return code

    def table(self, across: str) -> PersonTable:
        """One value for every person and level of ``across``; StudyError if a cell is missing or double."""
        people, levels = self.people, self.levels(across)
        row, column = _index(self.person, people), _index(self.column(across), levels)
        count = np.zeros((len(people), len(levels)), dtype=int)
        np.add.at(count, (row, column), 1)
        for wrong, words in (
            (count > 1, "{} values, one is needed: take means({!r}) first, or select"),
            (count < 1, "no value: measure it, or leave out that person or that {}"),
        ):
            if wrong.any():
                i, j = np.argwhere(wrong)[0]
                told = words.format(count[i, j], across) if count[i, j] > 1 else words.format(across)
                raise StudyError(
                    f"person {people[i]!r} at {across} {levels[j]!r} has {told} "
                    f"({int(wrong.sum())} of {count.size} cells)"
                )
        values = np.empty(count.shape)
        values[row, column] = self.value
        return PersonTable(people, levels, values)


def _like(column: Column, wished: list[Any]) -> Column:
    """Levels as the column holds them; a level that no entry could equal finds nothing."""
    if column.dtype.kind == "U":
        return np.array([str(level) for level in wished], dtype=str)
    try:
        return np.array(wished, dtype=float)
    except (TypeError, ValueError):
        return np.array([], dtype=float)


def _index(column: Column, levels: tuple[Any, ...]) -> NDArray[np.int64]:
    place = {level: i for i, level in enumerate(levels)}
    return np.array([place[v] for v in column.tolist()], dtype=np.int64)


def number_trials(obs: Observations, *within: str) -> Observations:
    """
    Number the trials of each person 1, 2, 3 ... in the order of the rows.

    Parameters
    ----------
    obs : Observations
        Trials in the order in which they were made.
    *within : str
        Factors at whose every combination counting starts anew (``"session"``).

    Returns
    -------
    Observations
        The same with the factor ``trial``.

    Examples
    --------
    >>> o = Observations("impulse", ["a", "b", "a", "b"], [20.0, 30.0, 22.0, 34.0])
    >>> number_trials(o).factors["trial"]
    array([1, 1, 2, 2])
    """
    code = obs.cells("person", *within)
    order = np.argsort(code, kind="stable")
    sorted_code = code[order]
    start = np.flatnonzero(np.r_[True, sorted_code[1:] != sorted_code[:-1]])
    length = np.diff(np.r_[start, code.size])
    trial = np.empty(code.size, dtype=np.int64)
    trial[order] = np.arange(code.size) - np.repeat(start, length) + 1
    factors = {**obs.factors, "trial": trial}
    return Observations(obs.quantity, obs.person, obs.value, obs.u, obs.common, factors)
