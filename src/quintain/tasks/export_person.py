"""Everything a lab holds on a person, for the person."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import or_, select

from quintain.domain.as_json import STRIKE_QUANTITIES, text
from quintain.errors import OutputError, UsageError
from quintain.quantities import GLOSSARY
from quintain.report.whole_file import write_whole
from quintain.store.export.cells import guard
from quintain.store.lab import Lab
from quintain.store.queries import StrikeRow, strike_page
from quintain.store.queries_filter import STATES, StrikeFilter
from quintain.store.schema import Person, Planned, Recording, Session, Strike
from quintain.tasks.audit_trail import AuditFilter, list_audit
from quintain.tasks.people import show_person
from quintain.version import __version__

__all__ = ["PersonExport", "export_person"]

_PAGE = 1000

_README = """Everything the lab {lab!r} holds on the person {code!r}, written {at}.

person.json     what is stated of the person, what identifies them, plans, and who changed entries when
strikes.csv     every strike with its values and standard uncertainties (u_...) in the units of the heading
recordings.csv  recordings with strikes of the person; SHA-256 is a fingerprint of the bytes
recordings/     the bytes as they were recorded, if they were asked for and hold nobody else's strikes
"""


@dataclass(frozen=True, slots=True)
class PersonExport:
    """What was written; ``shared`` names recordings that also hold strikes of others and were not copied."""

    folder: Path
    files: tuple[Path, ...]
    n_strikes: int
    n_recordings: int
    shared: tuple[str, ...]


def export_person(lab: Lab, code: str, folder: str | Path, *, recordings: bool = False) -> PersonExport:
    """
    Write everything the lab holds on a person into a folder.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        The person.
    folder : path
        A new or empty folder.
    recordings : bool
        Copy the bytes of recordings that hold strikes of nobody else.

    Raises
    ------
    LabError
        If there is no such person.
    UsageError
        If the folder holds something already.
    OutputError
        If it cannot be written to.
    """
    folder = Path(folder)
    person = show_person(lab, code, identity=True)
    strikes = _strikes(lab, code)
    held = _recordings(lab, person.id)
    at = datetime.now(UTC).isoformat(timespec="seconds")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise UsageError(f"{folder}: the folder is not empty; name a new one")
        files = [
            write_whole(folder / "README.txt", _README.format(lab=lab.facts.name, code=code, at=at).encode()),
            write_whole(folder / "person.json", (text(_as_json(lab, person, at)) + "\n").encode()),
            write_whole(folder / "strikes.csv", _csv(_strike_heading(), map(_strike_row, strikes)).encode()),
            write_whole(folder / "recordings.csv", _csv(_RECORDING, (row for row, _ in held)).encode()),
        ]
        if recordings:
            files += [
                _copy(lab, row[0], folder / "recordings") for row, shared in held if not shared and not row[6]
            ]
    except OSError as problem:
        raise OutputError(f"{folder}: cannot be written to: {problem.strerror}") from None
    return PersonExport(
        folder, tuple(files), len(strikes), len(held), tuple(row[1] for row, shared in held if shared)
    )


def _strikes(lab: Lab, code: str) -> list[StrikeRow]:
    chosen = StrikeFilter(people=(code,), states=STATES)
    rows: list[StrikeRow] = []
    while True:
        page = strike_page(lab, chosen, offset=len(rows), limit=_PAGE, quantities=tuple(STRIKE_QUANTITIES))
        rows += page.rows
        if len(rows) >= page.total or not page.rows:
            return rows


def _strike_heading() -> list[str]:
    heading = ["strike", "session", "place", "recording", "start [s]", "when", "rig", "type", "side",
               "series", "state", "reason", "note", "flags"]  # fmt: skip
    for name in STRIKE_QUANTITIES:
        unit = GLOSSARY[name].unit
        heading += [f"{name} [{unit}]", f"u_{name} [{unit}]"] if unit else [name, f"u_{name}"]
    return heading


def _strike_row(row: StrikeRow) -> list[Any]:
    when = "" if row.when is None else row.when.isoformat()
    told: list[Any] = [row.id, row.session, row.position, row.recording, row.start, when, row.rig, row.type]
    told += [row.side, row.series, row.state, row.reason, row.note, " ".join(row.codes)]
    return told + [number for name in STRIKE_QUANTITIES for number in row.quantities[name]]


_RECORDING = ("sha256", "name", "kind", "when", "session", "bytes", "gone", "others", "motion", "speeds",
              "alignment")  # fmt: skip


def _recordings(lab: Lab, person_id: int) -> list[tuple[list[Any], bool]]:
    """Recordings with strikes of a person, and whether they hold others' too."""
    with lab.reading() as database:
        of_strikes = select(Strike.recording_sha256).where(Strike.person_id == person_id)
        motions = select(Recording.motion_sha256).where(Recording.person_id == person_id)
        query = (
            select(Recording, Session.code)
            .outerjoin(Session, Session.id == Recording.session_id)
            .where(
                or_(
                    Recording.person_id == person_id,
                    Recording.sha256.in_(of_strikes),
                    Recording.sha256.in_(motions),
                )
            )
            .order_by(Recording.when, Recording.name, Recording.sha256)
        )
        found = []
        for row, session in database.execute(query):
            owners = set(
                database.scalars(select(Strike.person_id).where(Strike.recording_sha256 == row.sha256))
            ) | ({row.person_id} - {None})
            shared = bool(owners - {person_id})
            # of a recording that others share, what is stated may be theirs
            stated = ["", "", ""] if shared else [row.motion_sha256 or "", row.speeds, _stated(row)]
            found.append(
                (
                    [row.sha256, row.name, row.kind, row.when.isoformat() if row.when else "", session or "",
                     row.n_bytes, row.gone.isoformat() if row.gone else "", "yes" if shared else "", *stated],
                    shared,
                )
            )  # fmt: skip
        return found


def _stated(row: Recording) -> str:
    return json.dumps(row.alignment, ensure_ascii=False) if row.alignment else ""


def _as_json(lab: Lab, person: Any, at: str) -> dict[str, Any]:
    audit = list_audit(lab, AuditFilter(subject="person", subject_id=str(person.id)), limit=10_000)
    with lab.reading() as database:
        plans = database.execute(
            select(Session.code, Planned.position, Planned.type, Planned.side)
            .join(Planned, Planned.session_id == Session.id)
            .join(Person, Person.id == Planned.person_id)
            .where(Person.id == person.id)
            .order_by(Session.id, Planned.position)
        ).all()
    return {
        "quintain": __version__,
        "written": at,
        "lab": lab.facts.name,
        "invented": lab.facts.invented,
        "code": person.code,
        "units": {"body_mass": "kg", "height": "m", "experience": "years"},
        **asdict(person.facts),
        "identity": None if person.identity is None else asdict(person.identity),
        "added": person.added.isoformat(),
        "erased": None if person.erased is None else person.erased.isoformat(),
        "planned": [
            {"session": session, "place": place, "type": type, "side": side}
            for session, place, type, side in plans
        ],
        "audit": [
            {"at": e.at.isoformat(), "who": e.who, "action": e.action, "after": e.after}
            for e in reversed(audit.entries)
        ],
    }


def _copy(lab: Lab, sha256: str, folder: Path) -> Path:
    """The bytes under their hash; several files of one recording in a folder."""
    folder.mkdir(exist_ok=True)
    place = lab.originals.path(sha256)
    if place.name.startswith(sha256):
        return Path(shutil.copyfile(place, folder / place.name))
    return Path(shutil.copytree(place.parent, folder / place.parent.name))


def _csv(heading: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(heading)
    writer.writerows([guard(value) if isinstance(value, str) else value for value in row] for row in rows)
    return out.getvalue()
