"""What every part of the HTTP interface shares: how it fails, and values with their uncertainty."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, ConfigDict, Field

from quintain.domain.flags import Flag
from quintain.domain.measured import Measured
from quintain.quantities import GLOSSARY
from quintain.store.queries import Value
from quintain.store.queries_lists import Counts

__all__ = [
    "CHANGES",
    "Answer",
    "Asked",
    "Count",
    "CountsOut",
    "FlagOut",
    "Offset",
    "Quantity",
    "RecordingHash",
    "StrikeNumber",
    "api_router",
    "counts",
    "flags",
    "quantity",
    "refusals",
    "value",
]

_LARGEST = 2**31 - 1


class Answer(BaseModel):
    """An answer; everything in SI units, times in UTC."""

    model_config = ConfigDict(from_attributes=True)


class Asked(BaseModel):
    """A request; a word that is not known is refused, so that a slip of the pen is noticed."""

    model_config = ConfigDict(extra="forbid")


class _Error(Answer):
    status: int = Field(description="HTTP status.", examples=[404])
    code: str = Field(description="Stable code of the error.", examples=["http"])
    message: str = Field(description="What was wrong and what to do, in words.")


class Failure(Answer):
    """What is answered where something went wrong; nothing was changed then."""

    error: _Error


class Quantity(Answer):
    """A value, its standard uncertainty (null where it cannot be known) and the SI unit of both."""

    value: float | None = Field(examples=[38.42])
    u: float | None = Field(description="Standard uncertainty, in the unit.", examples=[0.21])
    unit: str = Field(description="SI unit.", examples=["N s"])


class FlagOut(Answer):
    """A doubt; the code is explained under /api/flags."""

    code: str = Field(examples=["clipped"])
    message: str
    where: str


class CountsOut(Answer):
    """How many strikes, by what review says of them; total leaves out those that are gone."""

    waiting: int
    accepted: int
    rejected: int
    gone: int
    flagged: int
    total: int


_WORDS = {
    400: "The request is damaged.",
    401: "Nobody is signed in.",
    403: "The token is missing or void, or the role is not enough.",
    404: "The lab holds nothing of this name.",
    409: "Somebody else was faster, or a name is taken; nothing was written.",
    413: "More arrived than is taken at once.",
    422: "Something in the request cannot be used; the message says what.",
    503: "The lab cannot be used.",
}


def refusals(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """How an operation may fail, for its description."""
    return {status: {"model": Failure, "description": _WORDS[status]} for status in statuses}


def api_router(tag: str, prefix: str = "") -> APIRouter:
    """A router below /api whose operations stand together under a tag."""
    return APIRouter(
        prefix=f"/api{prefix}",
        tags=[tag],
        responses=refusals(401, 403, 404, 422, 503),
    )


StrikeNumber = Annotated[
    int, Path(ge=1, le=_LARGEST, description="Number of the strike in the lab.", examples=[17])
]
RecordingHash = Annotated[
    str,
    Path(
        pattern="^[0-9a-f]{6,64}$",
        description="SHA-256 of the recording's bytes, or its first six digits or more.",
    ),
]
Offset = Annotated[int, Query(ge=0, le=_LARGEST, description="How many to pass over.")]
Count = Annotated[int, Query(ge=1, le=1000, description="How many to give at most.")]
CHANGES = Field(
    default=None,
    strict=True,  # a false that passed for 0 would compare with a number nobody gave
    ge=0,
    le=_LARGEST,
    description="The counter `changes` as you saw it. If it is another one by now, 409 is answered and "
    "nothing is written. Nothing is compared if it is left out.",
    examples=[0],
)


def quantity(measured: Measured | None) -> Quantity | None:
    """A measured value as it is answered."""
    if measured is None:
        return None
    return Quantity(value=_finite(measured.value), u=_finite(measured.u), unit=measured.unit)


def value(name: str, told: Value) -> Quantity | None:
    """A value of a row as it is answered; None where nothing is stated."""
    if told.value is None:
        return None
    return Quantity(value=_finite(told.value), u=_finite(told.u), unit=GLOSSARY[name].unit)


def counts(told: Counts) -> CountsOut:
    """Counts as they are answered."""
    return CountsOut.model_validate(told)


def flags(told: Iterable[Flag]) -> list[FlagOut]:
    """Doubts as they are answered."""
    return [FlagOut.model_validate(flag) for flag in told]


def _finite(number: float | None) -> float | None:
    return None if number is None or number != number or abs(number) == float("inf") else float(number)
