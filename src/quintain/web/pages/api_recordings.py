"""Recordings: lists, bytes, windows of the samples, and how new ones come in, for scripts."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import HTTPException, Query
from pydantic import Field
from starlette.responses import FileResponse, JSONResponse, Response

from quintain.domain.as_json import clock_as_json
from quintain.errors import QuintainError
from quintain.store.pyramid import view
from quintain.store.queries_lists import RecordingRow, list_recordings
from quintain.tasks.lab_views import recording_view
from quintain.tasks.state_recording import FACTS, state_recording
from quintain.tasks.zoom import look_into, open_zoom
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._api import (
    CHANGES,
    Answer,
    Asked,
    Count,
    CountsOut,
    FlagOut,
    Offset,
    Quantity,
    RecordingHash,
    api_router,
    counts,
    flags,
    refusals,
)
from quintain.web.trace_wire import as_json
from quintain.web.zooming import CurrentZooming

__all__ = ["router"]

router = api_router("recordings", "/recordings")

_PATIENCE = 2.0
"""How long a window waits for a recording to be prepared before it says so instead. [s]"""


class RecordingOut(Answer):
    """A recording in a list."""

    sha256: str
    name: str = Field(description="Name of its file.", examples=["S-02-P03.csv"])
    kind: str = Field(description="strikes, motion, taps, drops, zero or loads.", examples=["strikes"])
    format: str
    when: datetime | None
    duration: float | None = Field(description="[s]")
    rate: float | None = Field(description="[Hz]", examples=[2000.0])
    n_bytes: int
    session: str
    rig: str
    person: str
    type: str
    side: str
    imported: datetime
    gone: datetime | None = Field(description="Since when its bytes are gone, if they are.")
    strikes: CountsOut


class RecordingPage(Answer):
    """Some of the recordings, and how many there are."""

    total: int
    offset: int
    recordings: list[RecordingOut]


class AlignmentOut(Answer):
    """How the recording of the motion belongs to that of the force, as it was typed; empty if nothing was."""

    offset: str = Field("", description="Clock of the motion less the force's. [s]", examples=["28.9+-0.05"])
    sync: str = Field("", description="Channels of a pulse in both.", examples=["sync,trigger"])
    track: str = Field("", description="Channels of the striking point.", examples=["hx,hy,hz"])
    normal: str = Field("", description="Direction into the target.", examples=["1,0,0"])


class MatchedOut(Answer):
    """A strike that both devices show, and by how much the motion shows it later than the line says."""

    strike: int
    start_s: float
    residual_s: float


class ClockOut(Answer):
    """The line between the clocks: motion = force + offset + drift (force - middle_s)."""

    tie: str = Field(description="What brought them together.", examples=["impacts alone"])
    offset: Quantity
    drift: Quantity
    middle_s: float
    spread_s: float = Field(description="Standard deviation of the matched strikes about the line.")
    matched: list[MatchedOut]
    missed: list[int] = Field(description="Numbers of strikes that the motion does not show.")
    extra_s: list[float] = Field(description="Impacts the force does not show, on the motion's clock.")


class AnalysisOut(Answer):
    """One analysis of a recording."""

    id: int
    at: datetime
    method_sha256: str
    rig_version: str
    quintain: str = Field(description="Version of the software.")
    output: str = Field(description="Hash of what came out.")
    n_strikes: int
    flags: list[FlagOut]
    current: bool = Field(description="Whether its numbers are in force.")
    clock: ClockOut | None = Field(description="How strikes tied the motion's clock to the force's, if so.")


class ChannelOut(Answer):
    """A channel of the file; quantity and unit as it is drawn, in SI."""

    number: int
    name: str
    quantity: str
    unit: str
    unit_in_file: str
    rate: float = Field(description="[Hz]")
    device: str


class RecordingWhole(RecordingOut):
    """A recording with its channels and analyses."""

    channels: list[ChannelOut]
    force_channel: int | None = Field(description="The channel that is analysed; null if it is not clear.")
    trouble: str = Field(description="Why the file cannot be looked into, if it cannot.")
    motion_sha256: str | None = Field(description="Recording of the limb's motion that goes with it.")
    speeds: str = Field(
        description="Approach speeds as typed, in m/s, or the text of a table of them.",
        examples=["8.2+-0.2; 7.9+-0.2"],
    )
    alignment: AlignmentOut
    channel: str = Field(description="Channel of the force as stated; empty if it needs no stating.")
    changes: int = Field(description="Counter of changes; name it when you state something.")
    out_of_date: list[str] = Field(
        description="What is stated otherwise than the analysis in force took it; empty if nothing."
    )
    analyses: list[AnalysisOut]


def _fact(name: str, longest: int = 200, **more: Any) -> Any:
    return Field(default=None, max_length=longest, description=f"{FACTS[name].capitalize()}.", **more)


class Facts(Asked):
    """Facts to be stated; what is left out stays, null or an empty text takes it back."""

    motion: str | None = _fact("motion", 300)
    speeds: str | None = _fact("speeds", 200_000, examples=["8.2+-0.2"])
    offset: str | None = _fact("offset")
    sync: str | None = _fact("sync", 400)
    track: str | None = _fact("track", 600)
    normal: str | None = _fact("normal")
    channel: str | None = _fact("channel")
    rig: str | None = _fact("rig")
    session: str | None = _fact("session")
    person: str | None = _fact("person")
    type: str | None = _fact("type")
    side: str | None = _fact("side", 20, examples=["left"])
    changes: int | None = CHANGES


class Window(Answer):
    """
    A window of the samples.

    Point i stands at start_s + i step_s. Where ``reduced`` is true, it holds the least (low) and greatest
    (high) of the samples of a stretch of step_s; else the sample itself, in both. Null where nothing was
    recorded.
    """

    unit: str = Field(examples=["N"])
    start_s: float
    step_s: float
    reduced: bool
    low: list[float | None]
    high: list[float | None]


class Preparing(Answer):
    """The recording is made ready for looking into it; ask again."""

    state: Literal["preparing"] = "preparing"
    done: int = Field(description="Samples read.")
    total: int | None


@router.get("")
def recordings(
    lab: CurrentLab,
    session: Annotated[str | None, Query(description="Code of a session; empty for those of none.")] = None,
    kind: Annotated[
        Literal["strikes", "motion", "taps", "drops", "zero", "loads"] | None, Query(description="Kind.")
    ] = None,
    offset: Offset = 0,
    count: Count = 100,
) -> RecordingPage:
    """List recordings, the newest first."""
    rows, total = list_recordings(lab, session=session, kind=kind or "", offset=offset, limit=count)
    return RecordingPage(total=total, offset=offset, recordings=[RecordingOut(**_row(row)) for row in rows])


@router.get("/{sha256}")
def recording(lab: CurrentLab, sha256: RecordingHash) -> RecordingWhole:
    """Give a recording with its channels and analyses."""
    return _whole(lab, sha256)


@router.patch("/{sha256}", responses=refusals(400, 409, 413))
def state_facts(
    lab: CurrentLab, visitor: CurrentVisitor, sha256: RecordingHash, asked: Facts
) -> RecordingWhole:
    """
    State what was learned of a recording after its import, or take it back.

    What was analysed keeps its result and counts as out of date; a job makes it anew.
    """
    facts = asked.model_dump(exclude_unset=True)
    changes = facts.pop("changes", None)
    facts = {name: text or "" for name, text in facts.items()}
    state_recording(lab, sha256, facts, changes=changes, who=visitor.who)
    return _whole(lab, sha256)


def _whole(lab: CurrentLab, sha256: str) -> RecordingWhole:
    seen = recording_view(lab, sha256, limit=1)
    look, trouble = None, ""
    try:
        look = look_into(lab, seen.row.sha256) if seen.row.kind != "loads" else None
    except QuintainError as problem:
        trouble = str(problem)
    return RecordingWhole(
        **_row(seen.row),
        channels=[] if look is None else [ChannelOut.model_validate(one) for one in look.channels],
        force_channel=None if look is None else look.force,
        trouble=trouble or ("" if look is None else look.trouble),
        motion_sha256=seen.motion_sha256,
        speeds=seen.speeds,
        alignment=AlignmentOut(**seen.alignment),
        channel=seen.channel,
        changes=seen.changes,
        out_of_date=list(seen.out_of_date),
        analyses=[
            AnalysisOut(
                id=one.id, at=one.at, method_sha256=one.method_sha256, rig_version=one.rig_version,
                quintain=one.quintain, output=one.output, n_strikes=one.n_strikes, flags=flags(one.flags),
                current=one.current,
                clock=None if one.clock is None else ClockOut.model_validate(clock_as_json(one.clock)),
            )
            for one in seen.analyses
        ],
    )  # fmt: skip


@router.get(
    "/{sha256}/bytes",
    response_class=Response,
    responses={
        200: {"content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}}
    },
)
def original(lab: CurrentLab, sha256: RecordingHash) -> Response:
    """Give the original bytes, as they came in; of several files the first."""
    row = recording_view(lab, sha256, limit=1).row
    place = lab.originals.find(row.sha256)
    if row.gone is not None or place is None:
        raise HTTPException(404, "The original bytes of this recording are gone.")
    name = f"{row.sha256}{place.suffix}"
    return FileResponse(place, media_type="application/octet-stream", filename=name)


@router.get(
    "/{sha256}/window",
    response_model=Window,
    responses={202: {"model": Preparing, "description": "Not ready yet; ask again in a second."}},
)
def window(
    lab: CurrentLab,
    zooming: CurrentZooming,
    sha256: RecordingHash,
    start: Annotated[float, Query(description="[s]", allow_inf_nan=False, examples=[0.0])],
    end: Annotated[float, Query(description="After the start. [s]", allow_inf_nan=False, examples=[1.0])],
    points: Annotated[int, Query(ge=1, le=10_000, description="How many to give at most.")] = 1000,
    channel: Annotated[int | None, Query(ge=0, le=9999, description="The force's if left out.")] = None,
) -> Window | JSONResponse:
    """Give a window of the samples, thinned to least and greatest values where it is long."""
    full = recording_view(lab, sha256, limit=1).row.sha256
    look = look_into(lab, full)
    number = look.force if channel is None else channel
    if number is None:
        raise HTTPException(422, f"It is not clear which channel holds the force; name one. {look.trouble}")
    if number >= len(look.channels):
        raise HTTPException(404, f"There is no channel {number}; there are {len(look.channels)}, from 0.")
    pyramid = open_zoom(lab, full, number)
    if pyramid is None:
        work = zooming.build(lab, full, number)
        work.wait(_PATIENCE)
        if work.trouble:
            raise HTTPException(422, work.trouble)
        pyramid = open_zoom(lab, full, number)
        if pyramid is None:
            return JSONResponse(Preparing(done=work.done, total=work.total).model_dump(), 202)
    try:
        seen = view(pyramid, start, end, points)
    except ValueError as problem:
        raise HTTPException(422, str(problem)) from None
    return Window.model_validate({"unit": look.channels[number].unit, **as_json(seen)})


def _row(row: RecordingRow) -> dict[str, Any]:
    names = (
        "sha256", "name", "kind", "format", "when", "duration", "rate", "n_bytes", "session", "rig", "person",
        "type", "side", "imported", "gone",
    )  # fmt: skip
    return {name: getattr(row, name) for name in names} | {"strikes": counts(row.strikes)}
