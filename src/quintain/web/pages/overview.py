"""The lab at a glance: what waits, what is due, what is under way."""

from __future__ import annotations

from typing import NamedTuple

from fastapi import APIRouter, Request
from starlette.responses import Response

from quintain.domain.rig_state import DueCheck
from quintain.report.verdict import UNSAFE
from quintain.store.queries import count_strikes
from quintain.store.queries_filter import StrikeFilter
from quintain.tasks.jobs import list_jobs
from quintain.tasks.lab_views import Overview, RigOverview, lab_overview
from quintain.web.current import CurrentLab
from quintain.web.navigation import Nav
from quintain.web.rendering import page

__all__ = ["NAV", "router"]

NAV = Nav("Overview", "/", 0)

router = APIRouter(include_in_schema=False)

_SHAPES = {"sound": "sound", "doubt": "doubt", "undecided": "open"}
_WORDS = {"sound": "Fit for use.", "doubt": "With doubt.", "undecided": "Undecided."}


class _Due(NamedTuple):
    """A check of a rig that is due, or will be: which, of what, and when in words."""

    rig: str
    check: DueCheck
    words: str


@router.get("/")
def overview(request: Request, lab: CurrentLab) -> Response:
    """What the lab holds, and what it asks for."""
    seen = lab_overview(lab)
    jobs, _ = list_jobs(lab, limit=20)
    due = _due(seen.rigs)
    unsafe = count_strikes(lab, StrikeFilter(states=("waiting",), flags=tuple(sorted(UNSAFE))))
    mark, sentence = _verdict(seen, due, unsafe)
    return page(
        request,
        "overview.html",
        seen=seen,
        mark=mark,
        sentence=sentence,
        why=_why(seen),
        due=due,
        jobs=[job for job in jobs if job.is_open or job.state == "interrupted"],
        rig_mark=lambda rig: "open" if rig.state is None else _SHAPES.get(rig.state.verdict, "open"),
        rig_words=_rig_words,
        folder=lab.folder.resolve().name,
    )


def _verdict(seen: Overview, due: list[_Due], unsafe: int) -> tuple[str, str]:
    if unsafe:
        some = "strike" if unsafe == 1 else "strikes"
        return (
            "stop",
            f"Stop. {unsafe} {some} overloaded a cell: check the rig before anybody strikes it again.",
        )
    if not seen.n_recordings and not seen.n_sessions:
        return "open", "The lab is empty. Begin with the rig, then a session, then its recordings."
    waiting = seen.strikes.waiting
    parts = [
        f"{_many(waiting, 'strike waits', 'strikes wait')} for review"
        if waiting
        else "No strike waits for review"
    ]
    overdue = sum(one.check.overdue for one in due)
    parts.append(
        f"{_many(overdue, 'check of a rig is', 'checks of rigs are')} due" if overdue else "no check is due"
    )
    doubtful = sum(rig.state is None or rig.state.verdict != "sound" for rig in seen.rigs)
    return ("doubt" if doubtful or overdue else "sound"), ", ".join(parts) + "."


def _why(seen: Overview) -> str:
    parts = []
    if seen.n_unanalysed:
        parts.append(f"{_many(seen.n_unanalysed, 'recording is', 'recordings are')} not analysed yet.")
    if seen.n_gone:
        parts.append(f"The bytes of {_many(seen.n_gone, 'recording', 'recordings')} are gone.")
    return " ".join(parts)


def _due(rigs: tuple[RigOverview, ...]) -> list[_Due]:
    """Checks of all rigs, the most pressing first."""
    found = []
    for rig in rigs:
        for check in () if rig.state is None else rig.state.due:
            if check.days_since is None:
                words, left = "never done", float("-inf")
            else:
                left = check.allowed_days - check.days_since
                words = f"{-left:.0f} days late" if left < 0 else f"in {left:.0f} days"
            found.append((left, _Due(rig.row.name, check, words)))
    return [one for _, one in sorted(found, key=lambda pair: pair[0])]


def _rig_words(rig: RigOverview) -> str:
    if rig.state is None:
        return f"Its file cannot be read: {rig.trouble}"
    reasons = "; ".join(rig.state.reasons)
    words = _WORDS.get(rig.state.verdict, rig.state.verdict)
    return f"{words} {reasons[:1].upper()}{reasons[1:]}".strip()


def _many(n: int, one: str, more: str) -> str:
    return f"{n} {one if n == 1 else more}"
