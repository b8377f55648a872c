"""A recording: any length at any zoom, its strikes, its channels, and where it came from."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import PurePath
from typing import Any

import numpy as np
from fastapi import APIRouter, HTTPException, Request
from sqlalchemy import select
from starlette.responses import JSONResponse, RedirectResponse, Response

from quintain.domain.flags import FLAGS
from quintain.domain.measured import Measured
from quintain.errors import QuintainError
from quintain.report.figures.clocks import CLOCK_NOT_KEPT, clock_sentence
from quintain.report.figures.strike import COVERAGE
from quintain.report.verdict import Verdict, judge_analysis
from quintain.store.lab import Lab
from quintain.store.pyramid import Pyramid, view
from quintain.store.queries import StrikeRow
from quintain.store.queries_lists import list_recordings
from quintain.store.results import load_analysis
from quintain.store.schema import Recording
from quintain.tasks.lab_views import AnalysisRow, RecordingView, recording_view
from quintain.tasks.zoom import Look, corrected_in, look_into, marks_of, open_zoom, zoom_key
from quintain.web.current import CurrentLab
from quintain.web.pages._strike_charts import thinned
from quintain.web.rendering import page
from quintain.web.sentence import as_sentence
from quintain.web.trace_wire import encode
from quintain.web.zooming import Building, CurrentZooming

__all__ = ["router"]

router = APIRouter(prefix="/recordings", include_in_schema=False)

_KINDS = {
    "strikes": "strikes",
    "motion": "the motion of a limb",
    "taps": "taps on the target",
    "drops": "dropped masses",
    "zero": "the rig at rest",
    "loads": "known loads",
}
_COLUMNS = (
    ("impulse", "impulse"),
    ("peak_force", "peak force"),
    ("contact_time", "contact"),
    ("effective_mass", "effective mass"),
)
_SHOWN = 200
_STATES = {"waiting": "○", "accepted": "✓", "rejected": "×"}
_PATIENCE = 0.3
"""How long a page waits for a short recording to be ready before it shows progress instead. [s]"""


@router.get("")
def recordings(
    request: Request, lab: CurrentLab, session: str | None = None, kind: str = "", offset: int = 0
) -> Response:
    """All recordings, the newest first."""
    if kind and kind not in _KINDS:
        raise HTTPException(404, f"There are no recordings of kind {kind!r}; there are: {', '.join(_KINDS)}.")
    rows, total = list_recordings(lab, session=session, kind=kind, offset=max(0, offset), limit=_SHOWN)
    return page(
        request, "recordings.html", rows=rows, total=total, session=session, kind=kind, kinds=_KINDS,
        offset=max(0, offset), shown_at_most=_SHOWN, base_name=_base_name,
    )  # fmt: skip


@router.get("/{sha256}")
def recording(
    request: Request,
    lab: CurrentLab,
    zooming: CurrentZooming,
    sha256: str,
    channel: int | None = None,
    offset: int = 0,
) -> Response:
    """One recording."""
    seen = recording_view(lab, sha256, offset=max(0, offset), limit=_SHOWN)
    full = seen.row.sha256
    look, work, pyramid, trouble = _zoom(lab, zooming, full, channel)
    number = _number(look, channel)
    with lab.reading() as database:
        row = database.get_one(Recording, full)
        told = {key: value for key, value in row.reading.items() if value not in (None, "", {})}
        trial = row.trial
        goes_with = select(Recording.sha256, Recording.name).where(Recording.motion_sha256 == full)
        belongs = [tuple(one) for one in database.execute(goes_with)]
    current = next((analysis for analysis in seen.analyses if analysis.current), None)
    return page(
        request,
        "recording.html",
        seen=seen,
        row=seen.row,
        kind=_KINDS.get(seen.row.kind, seen.row.kind),
        judged=_judge(lab, seen, trouble),
        current=current,
        look=look,
        number=number,
        sha256=full,
        pyramid=pyramid,
        key="" if pyramid is None or number is None else zoom_key(lab, full, number),
        work=work,
        trouble=trouble,
        told=told,
        trial=trial,
        clocks=_clocks(seen, current),
        belongs=belongs,
        columns=_COLUMNS,
        doubted=_doubted,
        strikes=seen.strikes,
        measured=_measured,
        offset=max(0, offset),
        shown_at_most=_SHOWN,
        base_name=_base_name,
    )


@router.get("/{sha256}/trace")
def trace(
    lab: CurrentLab, sha256: str, start: float, end: float, pixels: int, channel: int = 0, key: str = ""
) -> Response:
    """A window of the samples, as bytes."""
    try:
        seen = view(_pyramid(lab, sha256, channel, key), start, end, pixels)
    except ValueError as problem:
        raise HTTPException(422, str(problem)) from None
    return Response(encode(seen), media_type="application/octet-stream")


@router.get("/{sha256}/corrected.json")
def corrected(
    lab: CurrentLab,
    zooming: CurrentZooming,
    sha256: str,
    start: float,
    end: float,
    channel: int = 0,
    key: str = "",
) -> Response:
    """Corrected curves of the strikes in a window."""
    if not (np.isfinite(start) and np.isfinite(end)):
        raise HTTPException(422, "The window is no stretch of time.")
    curves, missing = corrected_in(lab, sha256, _pyramid(lab, sha256, channel, key), start, end)
    zooming.fill(lab, missing)
    series = []
    for curve in curves:
        time, force, u = thinned(curve.time, curve.force, curve.u)
        series.append(
            {"kind": "corrected", "label": "", "x": np.round(time, 7).tolist(), "y": _listed(force),
             "low": _listed(force - COVERAGE * u), "high": _listed(force + COVERAGE * u)}
        )  # fmt: skip
    if series:
        series[0]["label"] = "corrected, with its 95 % band"
    return JSONResponse({"series": series})


@router.get("/{sha256}/events.json")
def events(lab: CurrentLab, sha256: str) -> Response:
    """Strikes as marks: number, what review says, link."""
    return JSONResponse(
        [
            {"at": mark.start, "label": f"{mark.position} {_STATES.get(mark.state, '')}".strip(),
             "note": "◇" if mark.flagged else "", "href": f"/strikes/{mark.id}?recording={sha256}"}
            for mark in marks_of(lab, sha256)
        ]
    )  # fmt: skip


@router.get("/{sha256}/zoom")
def progress(
    request: Request, lab: CurrentLab, zooming: CurrentZooming, sha256: str, channel: int = 0
) -> Response:
    """How far the preparation is; when it is done the page is loaded again."""
    work = zooming.build(lab, sha256, channel)
    if work.trouble or (work.future is not None and work.future.done()):
        return _back(request, sha256, channel)
    return page(request, "recording_progress.html", work=work, sha256=sha256, number=channel)


@router.post("/{sha256}/zoom/{what}")
def steer(
    request: Request, lab: CurrentLab, zooming: CurrentZooming, sha256: str, what: str, channel: int = 0
) -> Response:
    """Stop the preparation, or begin it again."""
    if what == "stop":
        zooming.build(lab, sha256, channel).stop = True
    elif what == "again":
        zooming.build(lab, sha256, channel, again=True)
    else:
        raise HTTPException(404)
    return _back(request, sha256, channel)


# -- what stands behind it


def _back(request: Request, sha256: str, channel: int) -> Response:
    """Load the page of the recording anew, for whoever asked."""
    path = f"/recordings/{sha256}?channel={channel}"
    if "hx-request" in request.headers:
        return Response("", headers={"HX-Redirect": path})
    return RedirectResponse(path, 303)


def _zoom(
    lab: Lab, zooming: CurrentZooming, sha256: str, channel: int | None
) -> tuple[Look | None, Building | None, Pyramid | None, str]:
    """What the file says, work under way, the pyramid, and what stands in the way; as far as there is."""
    try:
        look = look_into(lab, sha256)
    except QuintainError as problem:
        return None, None, None, str(problem).replace(f"{lab.originals.folder}: ", "")
    number = _number(look, channel)
    if number is None:
        return look, None, None, look.trouble or "The file holds no channel."
    pyramid = open_zoom(lab, sha256, number)
    if pyramid is not None:
        return look, None, pyramid, "" if pyramid.n_samples else "The channel holds no samples."
    work = zooming.build(lab, sha256, number)
    work.wait(_PATIENCE)
    return look, work, open_zoom(lab, sha256, number), work.trouble


def _number(look: Look | None, channel: int | None) -> int | None:
    if look is None or not look.channels:
        return None
    if channel is not None and 0 <= channel < len(look.channels):
        return channel
    return look.force if look.force is not None else 0


def _pyramid(lab: Lab, sha256: str, channel: int, key: str) -> Pyramid:
    pyramid = open_zoom(lab, sha256, channel, key=key)
    if pyramid is None:
        raise HTTPException(409, "The recording is not prepared for zooming (any more); load its page again.")
    return pyramid


def _judge(lab: Lab, seen: RecordingView, trouble: str) -> Verdict:
    row = seen.row
    if row.gone is not None:
        return Verdict(
            "open", "Undecided", "The original bytes are gone.",
            "The numbers below were made from them and stay; they cannot be made again.",
        )  # fmt: skip
    if row.kind != "strikes":
        said = f"A recording of {_KINDS.get(row.kind, row.kind)}."
        return Verdict("open" if trouble else "sound", "", said, trouble and as_sentence(trouble))
    current = next((analysis for analysis in seen.analyses if analysis.current), None)
    if current is None:
        why = as_sentence(trouble) if trouble else "Its strikes appear here once it is analysed."
        return Verdict("open", "Undecided", "It has not been analysed yet.", why)
    judged = judge_analysis(load_analysis(lab, current.id))
    out_of_date = f"it is out of date: {'; '.join(seen.out_of_date)}" if seen.out_of_date else ""
    doubts = [as_sentence(words) for words in (out_of_date, trouble) if words]
    return Verdict(judged.mark, judged.word, judged.sentence, " ".join(doubts)) if doubts else judged


def _clocks(seen: RecordingView, current: AnalysisRow | None) -> str:
    """How clocks were tied, or why that is not known; nothing where they were not."""
    if current is not None and current.clock is not None:
        return clock_sentence(current.clock)
    kept = current is None or current.clock_kept or not seen.motion_sha256
    return "" if kept else as_sentence(CLOCK_NOT_KEPT)


def _measured(row: StrikeRow, name: str) -> Measured | None:
    value = row.quantities.get(name)
    return None if value is None or value.value is None else Measured(name, value.value, value.u)


def _doubted(codes: Iterable[str], name: str) -> bool:
    return any(name in (*FLAGS[code].doubts, *FLAGS[code].withholds) for code in codes if code in FLAGS)


def _listed(values: Any) -> list[float | None]:
    return [None if v != v else v for v in np.round(values, 2).tolist()]


def _base_name(path: str) -> str:
    return PurePath(path).name
