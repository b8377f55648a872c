"""Which strike is which of a plan: everything that can be told for sure, and nothing that cannot."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from quintain.domain.protocol import PlannedStrike

__all__ = ["MOST_OFF", "PlanMatch", "Seen", "match_plan"]

MOST_OFF = 8
"""More strikes that may be missing, or extra, than this leave little to tell."""


class Seen(NamedTuple):
    """
    A strike as it was found, in order of time.

    Parameters
    ----------
    person, type, side : str
        What is known of it already; empty where nothing is.
    may_be_extra : bool
        It may be no strike of the plan without counting as an extra one: a reviewer rejected it.
    """

    person: str = ""
    type: str = ""
    side: str = ""
    may_be_extra: bool = False


@dataclass(frozen=True, slots=True)
class PlanMatch:
    """
    What each strike can be.

    Parameters
    ----------
    choices : tuple of frozenset
        For each strike the places in the plan, from 0, that it has in any order of events that fits
        everything stated; None among them if it may be none of the plan.
    planned : tuple of PlannedStrike
        The plan.

    Notes
    -----
    Where strikes are lost or added in greater number than was stated, or what was stated about groups
    is not true, the choices may not hold the truth.
    """

    choices: tuple[frozenset[int | None], ...]
    planned: tuple[PlannedStrike, ...]

    @property
    def possible(self) -> bool:
        """Whether any order of events fits."""
        return all(self.choices)

    def sure(self, i: int) -> PlannedStrike | None:
        """
        A planned strike of the kind that strike ``i`` has in every possible order of events.

        None if it may have several, or may be none of the plan.
        """
        choices = self.choices[i]
        if not choices or None in choices:
            return None
        places = [j for j in choices if j is not None]
        kinds = {self.planned[j].kind for j in places}
        return self.planned[min(places)] if len(kinds) == 1 else None

    def place(self, i: int) -> int | None:
        """The one place in the plan that strike ``i`` has in every possible order of events, or None."""
        choices = self.choices[i]
        return next(iter(choices)) if len(choices) == 1 else None

    @property
    def unsure(self) -> tuple[tuple[int, int], ...]:
        """Runs of strikes that cannot be told, as first and last, from 0."""
        runs: list[tuple[int, int]] = []
        for i, choices in enumerate(self.choices):
            if self.sure(i) is not None or choices == {None}:
                continue
            if runs and runs[-1][1] == i - 1:
                runs[-1] = (runs[-1][0], i)
            else:
                runs.append((i, i))
        return tuple(runs)


class _State(NamedTuple):
    """How far the plan is used up, and the group of the last strike that was found in it."""

    used: int
    extra: int
    missing: int
    last: int
    """Place in the plan of the last match; -1 before any. Only its group counts."""
    at: int
    """The strike of that match."""


def match_plan(
    seen: Sequence[Seen],
    planned: Sequence[PlannedStrike],
    *,
    missing: int = 0,
    extra: int = 0,
    groups: Sequence[Hashable] | None = None,
    apart: Callable[[int, int], bool | None] | None = None,
) -> PlanMatch:
    """
    Find everything that each strike can be, going through plan and strikes in their order.

    Parameters
    ----------
    seen : sequence of Seen
        Strikes in order of time.
    planned : sequence of PlannedStrike
        The plan in its order.
    missing : int
        At most so many strikes of the plan were not made, or not found.
    extra : int
        At most so many strikes that were found are none of the plan.
    groups : sequence, optional
        For each planned strike the group that ``apart`` speaks of; the block if left out.
    apart : callable, optional
        Whether two strikes, given by an earlier and a later place, are of different groups where no strike
        of the plan lies between them: True, False, or None where nothing tells.

    Returns
    -------
    PlanMatch
        For each strike all its possible places.

    Raises
    ------
    ValueError
        If more than :data:`MOST_OFF` may be missing or extra.

    Notes
    -----
    All monotone matchings that leave out at most the stated numbers are followed at once, forward and
    backward (dynamic programming over how far each list is used up). A tag is given only where all of
    them agree, so it is right whenever the stated numbers are; nothing is scored or guessed. Warm-ups
    may or may not be apart from what follows them. Derived here.

    Examples
    --------
    Ten jabs and ten crosses, one of which was missed somewhere: only around the change it cannot be told.

    >>> from quintain.domain.protocol import Condition, Protocol, plan_strikes
    >>> protocol = Protocol(("P01",), (Condition("jab"), Condition("cross")), 10, order="written")
    >>> match = match_plan([Seen()] * 19, plan_strikes(protocol), missing=1)
    >>> match.unsure
    ((9, 9),)
    >>> match.sure(8).type, match.sure(10).type
    ('jab', 'cross')
    """
    if not (0 <= missing <= MOST_OFF and 0 <= extra <= MOST_OFF):
        raise ValueError(
            f"from 0 to {MOST_OFF} strikes may be missing or extra, got {missing} and {extra}; tag by hand "
            "what is further off"
        )
    planned = tuple(planned)
    of_group = [(one.block, one.person) for one in planned] if groups is None else list(groups)
    graph = _Graph(seen, planned, of_group, missing, extra, apart)
    layers = graph.forward()
    return PlanMatch(graph.backward(layers), planned)


class _Graph:
    """Orders of events: each step takes a strike, a planned strike, or one of each as a match."""

    def __init__(
        self,
        seen: Sequence[Seen],
        planned: Sequence[PlannedStrike],
        groups: Sequence[Hashable],
        missing: int,
        extra: int,
        apart: Callable[[int, int], bool | None] | None,
    ) -> None:
        self.apart = apart
        self.seen, self.planned, self.groups = seen, planned, groups
        self.missing, self.extra = missing, extra
        self._first: dict[tuple[Hashable, bool], int] = {}
        """One place stands for all of the same group, so that equal states are one."""

    def forward(self) -> list[set[_State]]:
        """States that can be reached before each strike, and after the last."""
        start = _State(0, 0, 0, -1, -1)
        layers = [self._with_missing({start})]
        for i in range(len(self.seen)):
            ahead = {
                state for here in layers[-1] for state, _ in self._taken(i, here) if self._in_reach(i, state)
            }
            layers.append(self._with_missing(ahead))
        return layers

    def backward(self, layers: list[set[_State]]) -> tuple[frozenset[int | None], ...]:
        """For each strike, what it is on some way that reaches the end of both lists."""
        alive = {state for state in layers[-1] if state.used == len(self.planned)}
        choices: list[frozenset[int | None]] = []
        for i in range(len(self.seen) - 1, -1, -1):
            alive = self._reaching(layers[i + 1], alive)
            found: set[int | None] = set()
            before = set()
            for here in layers[i]:
                good = [place for state, place in self._taken(i, here) if state in alive]
                if good:
                    found.update(good)
                    before.add(here)
            alive = before
            choices.append(frozenset(found))
        return tuple(reversed(choices))

    def _in_reach(self, i: int, state: _State) -> bool:
        """Whether what is left of both lists can still come out even."""
        left_seen, left_planned = len(self.seen) - i - 1, len(self.planned) - state.used
        return left_planned - left_seen <= self.missing - state.missing

    def _with_missing(self, states: set[_State]) -> set[_State]:
        every, fresh = set(states), states
        while fresh:
            fresh = {state for here in fresh for state in self._skipped(here)} - every
            every |= fresh
        return every

    def _skipped(self, here: _State) -> list[_State]:
        if here.missing == self.missing or here.used == len(self.planned):
            return []
        return [here._replace(used=here.used + 1, missing=here.missing + 1)]

    def _reaching(self, layer: set[_State], alive: set[_State]) -> set[_State]:
        """States of a layer from which a living one is reached by leaving out planned strikes."""
        every = set(alive)
        for here in sorted(layer, key=lambda state: -state.used):
            if any(state in every for state in self._skipped(here)):
                every.add(here)
        return every

    def _taken(self, i: int, here: _State) -> list[tuple[_State, int | None]]:
        """States after strike ``i``, each with its place in the plan."""
        strike = self.seen[i]
        ways: list[tuple[_State, int | None]] = []
        if strike.may_be_extra:
            ways.append((here, None))
        elif here.extra < self.extra:
            ways.append((here._replace(extra=here.extra + 1), None))
        j = here.used
        if j < len(self.planned) and self._fits(i, j, here):
            ways.append((self._matched(here, i, j), j))
        return ways

    def _fits(self, i: int, j: int, here: _State) -> bool:
        strike, planned = self.seen[i], self.planned[j]
        known = ((strike.person, planned.person), (strike.type, planned.type), (strike.side, planned.side))
        if any(stated and stated != asked for stated, asked in known):
            return False
        apart = self.apart(here.at, i) if self.apart and here.last >= 0 else None
        if apart is None:
            return True
        same = self.groups[here.last] == self.groups[j]
        if self.planned[here.last].warm_up != planned.warm_up:
            return same or apart
        return same != apart

    def _matched(self, here: _State, i: int, j: int) -> _State:
        if self.apart is None:  # what was matched last makes no difference, so it is not told apart
            return here._replace(used=j + 1)
        return here._replace(used=j + 1, last=self._standing_for(j), at=i)

    def _standing_for(self, j: int) -> int:
        return self._first.setdefault((self.groups[j], self.planned[j].warm_up), j)
