"""Strikes: filter and sort them, look at one whole, its curves and its history, for scripts."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

import numpy as np
from fastapi import Query, Request
from numpy.typing import NDArray
from pydantic import Field

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.store.queries import FACTORS, HEADLINE, SORTS, StrikeRow, Value, strike_page
from quintain.store.queries_groups import group_summary
from quintain.tasks.lab_views import strike_view
from quintain.tasks.replay import curves_of, history_of
from quintain.web.chosen import chosen_of
from quintain.web.current import CurrentLab
from quintain.web.pages._api import (
    Answer,
    Asked,
    FlagOut,
    Quantity,
    StrikeNumber,
    api_router,
    flags,
    quantity,
    value,
)
from quintain.web.pages._api_groups import Group, group

__all__ = ["StrikeQuery", "router"]

router = api_router("strikes", "/strikes")

State = Literal["waiting", "accepted", "rejected", "gone", "all"]
_DAY = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
_FACTORS: dict[str, Any] = {"items": {"type": "string", "enum": list(FACTORS)}}
_QUANTITIES: dict[str, Any] = {"items": {"type": "string", "enum": list(STRIKE_QUANTITIES)}}


class StrikeQuery(Asked):
    """
    Which strikes are meant, and in which order: the words are those of the addresses of pages.

    A word that may stand several times asks for any of its values; strikes meet every word.
    """

    session: list[str] = Field([], description="Codes of sessions; empty for strikes of none.")
    person: list[str] = Field([], description="Codes of people; empty for strikes of nobody.")
    type: list[str] = Field([], description="Types of strikes; empty for untyped ones.")
    side: list[Literal["left", "right", ""]] = Field([], description="Sides.")
    state: list[State] = Field([], description="All that are not gone if left out; 'all' stands alone.")
    flag: list[str] = Field([], description="Codes of flags.")
    unflagged: Literal["", "0", "1"] = Field("", description="1: only strikes without a flag.")
    rig: list[str] = Field([], description="Names of rigs.")
    method: list[str] = Field([], description="SHA-256 of methods.")
    recording: list[str] = Field([], description="SHA-256 of recordings, whole.")
    series: list[Annotated[int, Field(ge=0, le=2**31 - 1)]] = Field([], description="Numbers of series.")
    since: str = Field("", pattern=f"{_DAY}|^$", description="A day, counted in.", examples=["2026-03-01"])
    until: str = Field("", pattern=f"{_DAY}|^$", description="A day, counted in.", examples=["2026-03-31"])
    text: str = Field("", max_length=200, description="Part of note or reason.")
    limit: list[str] = Field(
        [],
        description="quantity:low:high in SI units; either end may be left out.",
        examples=[["peak_force:2000:3000"]],
    )
    sort: str = Field(
        "order", description="'order' is the order of the lab.", json_schema_extra={"enum": list(SORTS)}
    )
    down: Literal["", "0", "1"] = Field("", description="1: the largest first.")


class StrikePageQuery(StrikeQuery):
    """Which strikes, in which order, and which of them to give with which quantities."""

    quantity: list[str] = Field(
        list(HEADLINE), description="Quantities to give.", json_schema_extra=_QUANTITIES
    )
    offset: int = Field(0, ge=0, le=2**31 - 1, description="How many to pass over.")
    count: int = Field(100, ge=1, le=1000, description="How many to give at most.")


class SummaryQuery(StrikeQuery):
    """Which strikes, and by what to group them."""

    by: list[str] = Field(
        ["type", "side"], description="What to group by.", json_schema_extra=_FACTORS,
    )  # fmt: skip
    quantity: list[str] = Field(
        list(HEADLINE), description="Quantities to describe.", json_schema_extra=_QUANTITIES
    )


class StrikeOut(Answer):
    """A strike in a list; what is not stated is empty or null."""

    id: int = Field(examples=[17])
    session: str
    position: int = Field(description="Place in the session, or in the recording where there is none.")
    recording_sha256: str
    recording: str
    start: float = Field(description="Start of contact on the clock of the recording. [s]")
    when: datetime | None
    person: str
    type: str
    side: str
    series: int | None
    state: str = Field(description="waiting, accepted, rejected or gone.")
    reason: str
    note: str
    changes: int = Field(description="Counter of changes; name it when you review the strike.")
    rig: str
    flags: list[str] = Field(description="Codes, explained under /api/flags.")
    quantities: dict[str, Quantity | None] = Field(description="By name in the glossary.")


class StrikePageOut(Answer):
    """Some of the strikes that the query means, and how many it means."""

    total: int
    offset: int
    strikes: list[StrikeOut]


class ContactOut(Answer):
    """One stretch of contact, on the clock of the recording. [s]"""

    start: float
    end: float


class StrikeWhole(StrikeOut):
    """A strike with every quantity, the budget of each uncertainty, and its doubts in words."""

    contacts: list[ContactOut]
    force_kind: str = Field(description="force_on_cell or contact_force.")
    budget: dict[str, dict[str, float | None]] = Field(
        description="By quantity: standard uncertainty by source, in the unit of the quantity."
    )
    doubts: list[FlagOut]
    method_sha256: str = Field(description="Method of the analysis in force.")
    rig_version: str
    quintain: str = Field(description="Version of the software that made the analysis.")
    n_results: int = Field(description="Results of all analyses; earlier ones stay.")


class Curve(Answer):
    """A curve; times count from the start of contact. Null where nothing is known."""

    unit: str
    time_s: list[float]
    value: list[float | None]
    u: list[float | None] | None = Field(description="Standard uncertainty; null for a raw curve.")


class Curves(Answer):
    """Curves of a strike: raw, corrected, and where the limb's motion was recorded speed and power."""

    note: str
    curves: dict[str, Curve]


class ResultOut(Answer):
    """One result of a strike and what it rests on."""

    result_id: int
    analysis_id: int
    in_force: bool
    at: datetime
    who: str
    quantities: dict[str, Quantity]
    codes: list[str]
    method_sha256: str
    method: dict[str, Any] = Field(description="Settings of the method.")
    rig: str
    rig_version: str
    motion_sha256: str
    quintain: str
    output: str = Field(description="Hash of what came out of the analysis.")


class DeedOut(Answer):
    """Somebody did something to a strike."""

    at: datetime
    who: str
    action: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None


class History(Answer):
    """A strike back to its bytes."""

    recording_sha256: str
    n_bytes: int
    results: list[ResultOut]
    deeds: list[DeedOut]


@router.get("")
def strikes(request: Request, lab: CurrentLab, asked: Annotated[StrikePageQuery, Query()]) -> StrikePageOut:
    """List strikes by a filter, in an order."""
    chosen = chosen_of(request.query_params)
    page = strike_page(
        lab, chosen.filter, sort=chosen.sort, descending=chosen.descending, offset=asked.offset,
        limit=asked.count, quantities=asked.quantity,
    )  # fmt: skip
    return StrikePageOut(
        total=page.total, offset=page.offset, strikes=[StrikeOut(**_row(row)) for row in page.rows]
    )


@router.get("/summary")
def summary(request: Request, lab: CurrentLab, asked: Annotated[SummaryQuery, Query()]) -> list[Group]:
    """Describe groups of strikes, with trials and people kept apart."""
    chosen = chosen_of(request.query_params)
    by = tuple(dict.fromkeys(asked.by))
    rows = group_summary(lab, chosen.filter, by=by, quantities=asked.quantity)
    return [group(row, by) for row in rows]


@router.get("/{strike_id}")
def strike(lab: CurrentLab, strike_id: StrikeNumber) -> StrikeWhole:
    """Give a strike whole."""
    seen = strike_view(lab, strike_id)
    result, analysis = seen.result, seen.analysis
    measured = {} if result is None else result.quantities
    row = _row(seen.row) | {"quantities": {name: quantity(measured.get(name)) for name in STRIKE_QUANTITIES}}
    return StrikeWhole(
        **row,
        contacts=[] if result is None else [ContactOut.model_validate(one) for one in result.contacts],
        force_kind="" if result is None else result.force_kind,
        budget={
            name: {c.name: None if c.u != c.u else c.u for c in m.budget}
            for name, m in measured.items()
            if m.budget
        },
        doubts=[] if result is None else flags(result.flags),
        method_sha256="" if analysis is None else analysis.method_sha256,
        rig_version="" if analysis is None else analysis.rig_version,
        quintain="" if analysis is None else analysis.quintain,
        n_results=seen.n_results,
    )


@router.get("/{strike_id}/curves")
def curves(lab: CurrentLab, strike_id: StrikeNumber) -> Curves:
    """Give the curves of a strike, made again from the original where they are not at hand."""
    found = curves_of(lab, strike_id)
    force, limb = found.force, found.limb
    told = {
        "raw": ("N", force.raw_time, force.raw, None),
        "corrected": ("N", force.time, force.corrected, force.u_corrected),
    }
    if limb is not None:
        told["speed"] = ("m/s", limb.time, limb.speed, limb.u_speed)
        told["power"] = ("W", limb.power_time, limb.power, None)
    return Curves(
        note=found.note,
        curves={
            name: Curve(
                unit=unit, time_s=time.tolist(), value=_known(values), u=None if u is None else _known(u)
            )
            for name, (unit, time, values, u) in told.items()
            if time.size
        },
    )


@router.get("/{strike_id}/history")
def history(lab: CurrentLab, strike_id: StrikeNumber) -> History:
    """Follow a strike back to its bytes: every result, and who did what."""
    seen = history_of(lab, strike_id)
    return History(
        recording_sha256=seen.recording_sha256,
        n_bytes=seen.n_bytes,
        results=[
            ResultOut(
                result_id=one.result_id, analysis_id=one.analysis_id, in_force=one.in_force, at=one.at,
                who=one.who, codes=list(one.codes), method_sha256=one.method_sha256,
                quantities={
                    name: told for name, both in one.quantities.items() if (told := value(name, Value(*both)))
                },
                method=dict(one.settings), rig=one.rig_name, rig_version=one.rig_version,
                motion_sha256=one.motion_sha256, quintain=one.quintain, output=one.output,
            )
            for one in seen.results
        ],
        deeds=[DeedOut.model_validate(deed) for deed in seen.deeds],
    )  # fmt: skip


def _row(row: StrikeRow) -> dict[str, Any]:
    names = (
        "id", "session", "position", "recording_sha256", "recording", "start", "when", "person", "type",
        "side", "series", "state", "reason", "note", "changes", "rig",
    )  # fmt: skip
    return {name: getattr(row, name) for name in names} | {
        "flags": list(row.codes),
        "quantities": {name: value(name, told) for name, told in row.quantities.items()},
    }


def _known(values: NDArray[np.float64]) -> list[float | None]:
    return [None if v != v else v for v in values.tolist()]
