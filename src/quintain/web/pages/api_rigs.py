"""Rigs, how they stand, and the evidence for it, for scripts."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import Path, Query
from pydantic import Field
from sqlalchemy import select
from starlette.responses import PlainTextResponse, Response

from quintain.store import schema
from quintain.store.queries_lists import list_rigs
from quintain.tasks.lab_rigs import rig_text
from quintain.tasks.lab_rows import rig_row
from quintain.tasks.lab_views import rig_state_in_lab
from quintain.web.current import CurrentLab
from quintain.web.pages._api import Answer, CountsOut, Quantity, api_router, counts, quantity

__all__ = ["router"]

router = api_router("rigs", "/rigs")

Name = Annotated[str, Path(max_length=200, description="Name of the rig.", examples=["wall pad (invented)"])]


class RigOut(Answer):
    """A rig in a list, with its newest piece of evidence."""

    name: str
    version: str = Field(description="Hash of the rig file in use.")
    n_versions: int
    n_evidence: int
    last_evidence: datetime | None
    last_kind: str = Field(description="tap, drops, zero, calibration or sensor; empty where there is none.")
    last_verdict: str
    strikes: CountsOut


class TrendOut(Answer):
    """One quantity of a rig over its tests; limits are null while there are too few."""

    quantity: str = Field(description="Name in the glossary.")
    unit: str
    when: list[datetime]
    values: list[Quantity]
    centre: float | None
    lower: float | None
    upper: float | None
    jumped: bool = Field(description="The newest value lies outside the limits of those before it.")
    drifted: bool = Field(description="The moving average has left its limits.")


class DueOut(Answer):
    """A kind of check, and whether it is due."""

    kind: str
    last: datetime | None
    days_since: float | None
    allowed_days: float
    overdue: bool


class RigStateOut(Answer):
    """How a rig stands today."""

    name: str
    version: str
    verdict: str = Field(description="sound, doubt or undecided (nothing proves it yet).")
    reasons: list[str]
    trends: list[TrendOut]
    due: list[DueOut]


class EvidenceOut(Answer):
    """A test or calibration that speaks for a rig."""

    kind: str = Field(examples=["tap"])
    when: datetime
    rig_version: str
    inputs: list[str] = Field(description="SHA-256 of the recordings it rests on.")
    values: dict[str, Quantity] = Field(description="By name in the glossary.")
    verdict: str
    quintain: str = Field(description="Version of the software.")


@router.get("")
def rigs(lab: CurrentLab) -> list[RigOut]:
    """List the rigs by name."""
    return [
        RigOut(
            name=row.name, version=row.version, n_versions=row.n_versions, n_evidence=row.n_evidence,
            last_evidence=row.last_evidence, last_kind=row.last_kind, last_verdict=row.last_verdict,
            strikes=counts(row.strikes),
        )
        for row in list_rigs(lab)
    ]  # fmt: skip


@router.get("/{name}")
def rig(lab: CurrentLab, name: Name) -> RigStateOut:
    """Judge a rig by its evidence, now."""
    state = rig_state_in_lab(lab, name)
    return RigStateOut(
        name=name,
        version=state.rig.version,
        verdict=state.verdict,
        reasons=list(state.reasons),
        trends=[
            TrendOut(
                quantity=trend.quantity, unit=trend.values[-1].unit, when=list(trend.when),
                values=[one for m in trend.values if (one := quantity(m)) is not None],
                centre=trend.centre, lower=trend.lower, upper=trend.upper,
                jumped=trend.jumped, drifted=trend.drifted,
            )
            for trend in state.trends
        ],
        due=[DueOut.model_validate(check) for check in state.due],
    )  # fmt: skip


@router.get("/{name}/evidence")
def evidence(lab: CurrentLab, name: Name) -> list[EvidenceOut]:
    """List what speaks for a rig, oldest first."""
    with lab.reading() as database:
        rows = database.scalars(
            select(schema.Evidence)
            .where(schema.Evidence.rig_id == rig_row(database, name).id)
            .order_by(schema.Evidence.when, schema.Evidence.id)
        )
        return [
            EvidenceOut(
                kind=row.kind, when=row.when, rig_version=row.rig_version, inputs=row.inputs,
                values={key: told for key, entry in row.values.items() if (told := _stated(entry))},
                verdict=row.verdict, quintain=row.quintain,
            )
            for row in rows
        ]  # fmt: skip


@router.get(
    "/{name}/file",
    response_class=Response,
    responses={200: {"content": {"text/plain": {"schema": {"type": "string"}}}}},
)
def rig_file(
    lab: CurrentLab,
    name: Name,
    version: Annotated[
        str | None, Query(description="Hash of a version; the one in use if left out.")
    ] = None,
) -> Response:
    """Give the text of a rig file (TOML) as it came in."""
    return PlainTextResponse(rig_text(lab, name, version))


def _stated(entry: dict[str, Any] | None) -> Quantity | None:
    if not entry or entry.get("value") is None:
        return None
    return Quantity(value=entry["value"], u=entry.get("u"), unit=str(entry.get("unit", "")))
