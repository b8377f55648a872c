"""Groups of strikes as the HTTP interface describes them."""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import Field

from quintain.quantities import GLOSSARY
from quintain.store.queries_groups import GroupRow
from quintain.web.pages._api import Answer

__all__ = ["Group", "group"]


class Summary(Answer):
    """One quantity in a group, in its SI unit; null where nothing can be said."""

    unit: str
    n: int
    mean: float | None
    sd: float | None
    u_root_mean_square: float | None = Field(
        description="Root of the mean square of the standard measurement uncertainties."
    )
    low: float | None
    high: float | None
    n_people: int
    person_mean: float | None = Field(description="Mean of the means of people, each taken once.")
    person_sd: float | None = Field(description="Standard deviation of the means of people.")
    within_sd: float | None = Field(description="Spread about a person's mean, pooled over people.")


class Group(Answer):
    """Strikes that belong together; levels that are not stated are empty."""

    levels: dict[str, str] = Field(examples=[{"type": "cross", "side": "right"}])
    n_strikes: int
    n_people: int
    quantities: dict[str, Summary] = Field(description="By name in the glossary.")


def group(row: GroupRow, by: Sequence[str]) -> Group:
    """A group as it is answered."""
    return Group(
        levels=dict(zip(by, row.levels, strict=True)),
        n_strikes=row.n_strikes,
        n_people=row.n_people,
        quantities={
            name: Summary(unit=GLOSSARY[name].unit, **told._asdict()) for name, told in row.quantities.items()
        },
    )
