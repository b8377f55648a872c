"""A session's protocol: who strikes what, how often, in which order, with which rest."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, TypeVar

from quintain.domain.person import SIDES
from quintain.domain.toml_schema import parse_toml
from quintain.errors import UsageError

__all__ = [
    "LONGEST_PLAN",
    "Condition",
    "PlannedStrike",
    "Protocol",
    "balanced_rows",
    "conditions_of",
    "plan_strikes",
    "shuffled",
]

T = TypeVar("T")

LONGEST_PLAN = 20_000
"""More strikes than anybody plans for a day."""


def _number(unit: str = "", **limits: float) -> dict[str, Any]:
    return {"unit": unit, **limits}


@dataclass(frozen=True, slots=True)
class Condition:
    """A type of strike with a side, as it is asked for."""

    type: str
    side: str = field(default="", metadata={"choices": SIDES})

    def __post_init__(self) -> None:
        if not self.type or self.side not in SIDES:
            raise ValueError(
                "a condition is a type with the side 'left', 'right' or none, got "
                f"{self.type!r}, {self.side!r}"
            )


@dataclass(frozen=True, slots=True)
class Protocol:
    """
    What is asked of whom.

    Parameters
    ----------
    people : tuple of str
        Codes.
    conditions : tuple of Condition
        Types with their sides.
    repetitions : int
        Strikes of each condition a person.
    arrangement : str
        'blocks': all repetitions of a condition one after the other; 'rounds': every condition once,
        then all again.
    order : str
        Of the conditions: 'balanced' over people (each comes equally often at each place and, as far as
        the number of people allows, after each other), 'random' for each person, or as 'written'.
    turns : str
        'person': one person does everything, then the next; 'block': people take turns after each block
        or round.
    rest, rest_between_blocks : float
        Before each strike, and before the first one of a block. [s]
    warm_ups : int
        Strikes of each condition before a person's first block; they are not counted.
    seed : int
        Of the order of people and conditions; the same seed gives the same order for ever.

    Examples
    --------
    >>> protocol = Protocol(("P01",), (Condition("jab", "left"),), repetitions=2)
    >>> [strike.position for strike in plan_strikes(protocol)]
    [1, 2]
    """

    people: tuple[str, ...]
    conditions: tuple[Condition, ...]
    repetitions: int = field(default=5, metadata=_number("", at_least=1, at_most=500))
    arrangement: str = field(default="blocks", metadata={"choices": ("blocks", "rounds")})
    order: str = field(default="balanced", metadata={"choices": ("balanced", "random", "written")})
    turns: str = field(default="person", metadata={"choices": ("person", "block")})
    rest: float = field(default=10.0, metadata=_number("s", at_least=0, at_most=3600))
    rest_between_blocks: float = field(default=60.0, metadata=_number("s", at_least=0, at_most=86400))
    warm_ups: int = field(default=0, metadata=_number("", at_least=0, at_most=100))
    seed: int = field(default=1, metadata=_number("", at_least=0, at_most=2**62))

    def __post_init__(self) -> None:
        if not self.people or not self.conditions:
            raise ValueError("a plan needs at least one person and one condition")
        for what, items in (("person", self.people), ("condition", self.conditions)):
            if len(set(items)) != len(items):
                raise ValueError(f"a {what} stands twice in the plan; write each once")
        for name in ("arrangement", "order", "turns"):
            choices = self.__dataclass_fields__[name].metadata["choices"]
            if getattr(self, name) not in choices:
                raise ValueError(f"{name} must be one of {', '.join(choices)}, got {getattr(self, name)!r}")
        for name in ("repetitions", "rest", "rest_between_blocks", "warm_ups", "seed"):
            limits = self.__dataclass_fields__[name].metadata
            value = getattr(self, name)
            if not limits["at_least"] <= value <= limits["at_most"]:
                words = name.replace("_", " ")
                raise ValueError(
                    f"{words} must lie from {limits['at_least']:g} to {limits['at_most']:g} "
                    f"{limits['unit']}".rstrip()
                    + f", got {value:g}"
                )
        n = len(self.people) * len(self.conditions) * (self.repetitions + self.warm_ups)
        if n > LONGEST_PLAN:
            raise ValueError(f"the plan holds {n} strikes, at most {LONGEST_PLAN} are allowed")

    @classmethod
    def from_toml(cls, text: str, *, origin: str = "protocol") -> Protocol:
        """Parse the text of a protocol file; errors name ``origin`` and the line."""
        return parse_toml(text, cls, origin=origin, error=UsageError)

    @classmethod
    def from_dict(cls, plan: Mapping[str, Any]) -> Protocol:
        """Build a protocol again from what :meth:`to_dict` gave."""
        conditions = tuple(Condition(**condition) for condition in plan["conditions"])
        return cls(**{**plan, "people": tuple(plan["people"]), "conditions": conditions})

    def to_dict(self) -> dict[str, Any]:
        """As plain lists and numbers, to be kept with the session."""
        plan = asdict(self)
        return {**plan, "people": list(self.people), "conditions": list(plan["conditions"])}

    @property
    def balance(self) -> str:
        """In words, how far the order of conditions is balanced over people."""
        n, k = len(self.people), len(self.conditions)
        if k == 1:
            return "there is one condition, so there is no order to balance"
        if self.order != "balanced":
            return f"the order of conditions is {self.order}; it is not balanced over people"
        if self.arrangement == "rounds":
            return "the order of conditions changes from round to round and from person to person"
        rows = len(balanced_rows(k))
        if n % rows == 0:
            return "each condition comes equally often at each place, and equally often after each other one"
        if n % k == 0:
            return (
                "each condition comes equally often at each place; for each after each other one equally "
                f"often, take a multiple of {rows} people"
            )
        return (
            f"{n} people are no multiple of {k} conditions: at each place, numbers of people differ by up "
            "to 1; say so where effects of order matter"
        )


@dataclass(frozen=True, slots=True)
class PlannedStrike:
    """
    One strike of a plan.

    ``position`` counts from 1, ``block`` from 1 over the session and is 0 for warm-ups; ``rest`` before
    the strike is None for the very first. [s]
    """

    position: int
    block: int
    person: str
    type: str
    side: str
    rest: float | None

    @property
    def warm_up(self) -> bool:
        """Whether it is not counted."""
        return self.block == 0

    @property
    def kind(self) -> tuple[str, str, str, int]:
        """What a strike is tagged with: person, type, side and block."""
        return self.person, self.type, self.side, self.block


def conditions_of(types: Iterable[str], sides: Iterable[str] = ("",)) -> tuple[Condition, ...]:
    """
    Every type with every side.

    Examples
    --------
    >>> [c.side for c in conditions_of(["jab"], ["left", "right"])]
    ['left', 'right']
    """
    sides = tuple(sides) or ("",)
    return tuple(Condition(type, side) for type in types for side in sides)


def plan_strikes(protocol: Protocol) -> tuple[PlannedStrike, ...]:
    """
    Put a protocol into the order in which strikes are asked for.

    Parameters
    ----------
    protocol : Protocol
        What is asked of whom.

    Returns
    -------
    tuple of PlannedStrike
        In order. Every person strikes every condition ``repetitions`` times.

    Notes
    -----
    The order follows from SHA-256 of seed and names alone, so it is the same in every version, on every
    machine. Balanced orders are the rows of a Williams square, dealt to people in an order by the seed.
    """
    people = protocol.people
    if protocol.order != "written":
        people = shuffled(people, protocol.seed, "people")
    turns = {person: _turns(protocol, i, person) for i, person in enumerate(people)}
    if protocol.turns == "person":
        queue = [(person, turn) for person in people for turn in turns[person]]
    else:
        n_turns = len(turns[people[0]])
        queue = [(person, turns[person][t]) for t in range(n_turns) for person in people]
    planned: list[PlannedStrike] = []
    begun: set[str] = set()
    for block, (person, turn) in enumerate(queue, 1):
        strikes = [(block, condition) for condition in turn]
        if person not in begun:
            begun.add(person)
            first_seen = list(dict.fromkeys(c for t in turns[person] for c in t))
            strikes = [(0, c) for c in first_seen for _ in range(protocol.warm_ups)] + strikes
        for i, (of, condition) in enumerate(strikes):
            new = i == 0 or strikes[i - 1][0] != of
            rest: float | None = protocol.rest_between_blocks if new else protocol.rest
            planned.append(
                PlannedStrike(
                    len(planned) + 1, of, person, condition.type, condition.side, rest if planned else None
                )
            )
    return tuple(planned)


def shuffled(items: Sequence[T], seed: int, label: str) -> tuple[T, ...]:
    """
    A random order that is the same for ever.

    Parameters
    ----------
    items : sequence
        What to put in order.
    seed : int
        The same seed and label give the same order.
    label : str
        Tells orders under one seed apart.

    Returns
    -------
    tuple
        The items by the SHA-256 of seed, label and their place.

    Examples
    --------
    >>> sorted(shuffled("abc", 1, "x"))
    ['a', 'b', 'c']
    """
    return tuple(items[i] for i in sorted(range(len(items)), key=lambda i: _digest(seed, label, i)))


def balanced_rows(k: int) -> list[tuple[int, ...]]:
    """
    Orders of ``k`` conditions in which none is favoured by its place or by what came before it.

    Parameters
    ----------
    k : int
        How many conditions, at least 1.

    Returns
    -------
    list of tuple of int
        k rows for an even number; for an odd one 2 k, of which the first k hold each condition once at
        each place.

    Raises
    ------
    ValueError
        If ``k`` is less than 1.

    Notes
    -----
    Williams' square: the first row goes 0, 1, k-1, 2, k-2, ...; the others add 1, 2, ... modulo k. For
    odd k the rows read backwards follow.

    References
    ----------
    .. [1] Williams E.J. (1949), Experimental designs balanced for the estimation of residual effects of
           treatments, Australian Journal of Scientific Research A 2, 149-168.

    Examples
    --------
    >>> balanced_rows(4)
    [(0, 1, 3, 2), (1, 2, 0, 3), (2, 3, 1, 0), (3, 0, 2, 1)]
    """
    if k < 1:
        raise ValueError(f"need at least 1 condition, got {k}")
    first = [0]
    for step in range(1, k):
        first.append((step + 1) // 2 if step % 2 else k - step // 2)
    rows = [tuple((place + shift) % k for place in first) for shift in range(k)]
    return rows if k % 2 == 0 or k == 1 else rows + [row[::-1] for row in rows]


def _turns(protocol: Protocol, number: int, person: str) -> list[tuple[Condition, ...]]:
    """Blocks or rounds of one person, in order; ``number`` is their place among people."""
    if protocol.arrangement == "blocks":
        ordered = _ordered(protocol, number, f"{person}")
        return [(condition,) * protocol.repetitions for condition in ordered]
    return [_ordered(protocol, number + r, f"{person}, round {r + 1}") for r in range(protocol.repetitions)]


def _ordered(protocol: Protocol, number: int, label: str) -> tuple[Condition, ...]:
    conditions = protocol.conditions
    if protocol.order == "written":
        return conditions
    if protocol.order == "random":
        return shuffled(conditions, protocol.seed, f"conditions of {label}")
    dealt = shuffled(conditions, protocol.seed, "conditions")
    rows = balanced_rows(len(conditions))
    return tuple(dealt[i] for i in rows[number % len(rows)])


def _digest(seed: int, label: str, i: int) -> bytes:
    return hashlib.sha256(f"{seed}\n{label}\n{i}".encode()).digest()
