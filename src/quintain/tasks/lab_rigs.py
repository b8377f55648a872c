"""Rigs of a lab: versions of their files, and the evidence that speaks for them."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session as Database

from quintain.domain.as_json import measured_as_json
from quintain.domain.rig import Rig
from quintain.domain.rig_log import KINDS, LogEntry
from quintain.domain.rig_state import DueCheck
from quintain.errors import ConflictError, LabError, MissingError, UsageError
from quintain.store import schema
from quintain.store.lab import Lab, Writer
from quintain.tasks.evidence_time import evidence_time
from quintain.tasks.import_recordings import import_recordings
from quintain.tasks.lab_rows import rig_row
from quintain.tasks.lab_views import log_of_rig, rig_state_in_lab
from quintain.tasks.rig_file import earlier_versions, read_log, write_log

__all__ = [
    "AddedRig",
    "DueInLab",
    "RigOnPaper",
    "add_evidence",
    "add_rig",
    "due_checks",
    "rig_of",
    "rig_on_paper",
    "rig_text",
    "use_version",
]

_RECORDED = {"tap": "taps", "drops": "drops", "zero": "zero", "calibration": "loads", "sensor": "motion"}
"""Kinds of recordings by the kind of evidence that rests on them."""

_LONGEST_NAME = 200


@dataclass(frozen=True, slots=True)
class AddedRig:
    """What a rig file brought into the lab; ``version`` is the one in use now."""

    name: str
    version: str
    new_rig: bool
    new_versions: tuple[str, ...]
    new_evidence: int


@dataclass(frozen=True, slots=True)
class DueInLab:
    """A check that is due on a rig of the lab."""

    rig: str
    check: DueCheck


@dataclass(slots=True)
class RigOnPaper:
    """
    A rig of the lab as a file, for as long as a test is entered into it.

    ``answer`` is kept with the evidence; it is set by whoever made the test.
    """

    path: Path
    answer: dict[str, Any] = field(default_factory=dict)


def add_rig(lab: Lab, path: str | Path, *, who: str) -> AddedRig:
    """
    Take a rig file into the lab, with its earlier versions and its log; again, only what is new.

    Parameters
    ----------
    lab : Lab
        The lab.
    path : path
        The rig file. A version that is new becomes the one in use; one that the lab knows changes nothing.
    who : str
        In whose name.

    Raises
    ------
    RigFileError
        If the file, an earlier version or the log cannot be read.
    LabError
        If the lab cannot be written to.
    """
    path = Path(path)
    rig = Rig.load(path)
    texts = [(file.read_text(encoding="utf-8"), str(file)) for file in earlier_versions(path)]
    texts.append((path.read_text(encoding="utf-8"), str(path)))
    log = read_log(path)
    with lab.writing(who) as writer:
        return _take(writer, rig, texts, log, {})


def rig_of(lab: Lab, name: str, version: str | None = None) -> Rig:
    """
    A rig of the lab.

    Parameters
    ----------
    lab : Lab
        The lab.
    name : str
        Its name.
    version : str, optional
        The one in use if left out.

    Raises
    ------
    LabError
        If there is no such rig or version.
    RigFileError
        If this version of the software cannot read it.
    """
    with lab.reading() as database:
        return Rig.from_toml(_version(database, name, version).toml, origin=f"rig {name!r}")


def rig_text(lab: Lab, name: str, version: str | None = None) -> str:
    """Text of a rig's file as it came in; errors as :func:`rig_of`."""
    with lab.reading() as database:
        return _version(database, name, version).toml


def use_version(lab: Lab, name: str, version: str, *, who: str) -> Rig:
    """
    Take another of a rig's versions into use.

    Raises
    ------
    LabError
        If there is no such rig or version.
    """
    with lab.writing(who) as writer:
        row = _version(writer.database, name, version)
        rig = rig_row(writer.database, name)
        before, rig.current = rig.current, version
        if before != version:
            writer.note(
                "use rig version", "rig", rig.id, before={"version": before}, after={"version": version}
            )
        return Rig.from_toml(row.toml, origin=f"rig {name!r}")


def add_evidence(
    lab: Lab,
    name: str,
    entry: LogEntry,
    *,
    recordings: Sequence[str | Path] = (),
    answer: Mapping[str, Any] | None = None,
    reading: Mapping[str, Any] | None = None,
    channel: str | None = None,
    who: str,
) -> bool:
    """
    Enter a tap test, drop test, zero or calibration, with the bytes it rests on.

    Parameters
    ----------
    lab : Lab
        The lab.
    name : str
        The rig.
    entry : LogEntry
        What came out.
    recordings : sequence of path
        Its recordings, which are copied into the lab.
    answer : mapping, optional
        The whole answer of the test.
    reading, channel
        What the recordings do not say themselves.

    Returns
    -------
    bool
        False if the lab has this evidence already.

    Raises
    ------
    LabError
        If there is no such rig, or a recording cannot be taken into the lab; nothing is entered then.
    UsageError
        If the time of the entry lies in the future or cannot be.
    """
    evidence_time(entry.when)
    with lab.reading() as database:
        rig_row(database, name)
    _keep(lab, name, entry.kind, recordings, reading, channel, who)
    with lab.writing(who) as writer:
        return bool(_enter(writer, rig_row(writer.database, name), [entry], dict(answer or {})))


@contextmanager
def rig_on_paper(
    lab: Lab,
    name: str,
    *,
    kind: str = "",
    recordings: Sequence[str | Path] = (),
    reading: Mapping[str, Any] | None = None,
    channel: str | None = None,
    who: str,
) -> Iterator[RigOnPaper]:
    """
    A rig of the lab as a file with its log; what is written into either goes into the lab at the end.

    Parameters
    ----------
    lab : Lab
        The lab.
    name : str
        The rig.
    kind : str
        Kind of the evidence that will be entered, one of 'tap', 'drops', 'zero', 'calibration', 'sensor'.
    recordings : sequence of path
        What it rests on; copied into the lab if evidence is entered.
    reading, channel
        What the recordings do not say themselves.
    who : str
        In whose name.

    Yields
    ------
    RigOnPaper
        Its path holds for the time of the ``with`` block.

    Raises
    ------
    LabError
        If there is no such rig, or a recording cannot be taken into the lab.
    ConflictError
        If somebody changed the rig in the meantime; nothing is entered then.
    """
    if kind and kind not in KINDS:
        raise UsageError(f"there is no evidence of kind {kind!r}; choose from {', '.join(KINDS)}")
    with lab.reading() as database:
        version = _version(database, name, None)
        past = log_of_rig(database, version.rig_id)
    with tempfile.TemporaryDirectory(prefix="quintain-rig-") as folder:
        paper = RigOnPaper(Path(folder) / "rig.toml")
        paper.path.write_text(version.toml, encoding="utf-8")
        write_log(paper.path, past)
        before = read_log(paper.path)
        yield paper
        text = paper.path.read_text(encoding="utf-8")
        log = [entry for entry in read_log(paper.path) if entry not in before]
        rig = Rig.from_toml(text, origin=f"rig {name!r}")
    if not log and rig.version == version.version:
        return
    if log and kind:
        _keep(lab, name, kind, recordings, reading, channel, who)
    with lab.writing(who) as writer:
        if rig_row(writer.database, name).current != version.version:
            raise ConflictError(
                f"the rig {name!r} was changed since the test began. Nothing was entered; make the test again"
            )
        _take(writer, rig, [(text, name)], log, paper.answer)


def due_checks(lab: Lab, *, now: datetime | None = None) -> tuple[DueInLab, ...]:
    """Checks that are due on the lab's rigs, by rig; one that was never made is due."""
    with lab.reading() as database:
        names = list(database.scalars(select(schema.Rig.name).order_by(schema.Rig.name)))
    return tuple(
        DueInLab(name, check)
        for name in names
        for check in rig_state_in_lab(lab, name, now=now).due
        if check.overdue
    )


def _take(
    writer: Writer,
    rig: Rig,
    texts: Sequence[tuple[str, str]],
    log: Sequence[LogEntry],
    answer: dict[str, Any],
) -> AddedRig:
    """Add versions and evidence of a rig that are not in the lab; the last text is the newest."""
    database = writer.database
    row = database.scalar(select(schema.Rig).where(schema.Rig.name == rig.name))
    new_rig = row is None
    if row is None:
        if "/" in rig.name or not rig.name.strip(" .") or len(rig.name) > _LONGEST_NAME:
            raise LabError(
                f"a rig of a lab has its own page, so its name has at most {_LONGEST_NAME} letters and no "
                f"'/'; rename the rig {rig.name[:60]!r} in its file"
            )
        row = schema.Rig(name=rig.name, current="")
        database.add(row)
        database.flush()
        writer.note("add rig", "rig", row.id, after={"name": rig.name})
    added = []
    for text, origin in texts:
        version = Rig.from_toml(text, origin=origin).version
        known = database.get(schema.RigVersion, version)
        if known is None:
            database.add(schema.RigVersion(version=version, rig_id=row.id, toml=text))
            database.flush()
            added.append(version)
        elif known.rig_id != row.id and version == rig.version:
            raise LabError(f"the version {version} of the rig {rig.name!r} belongs to another rig of the lab")
    if added and added[-1] == rig.version:
        before, row.current = row.current, rig.version
        writer.note(
            "new rig version", "rig", row.id,
            before={"version": before} if before else None,
            after={"version": rig.version, "earlier": added[:-1]},
        )  # fmt: skip
    n = _enter(writer, row, log, answer)
    return AddedRig(rig.name, row.current, new_rig, tuple(added), n)


def _enter(writer: Writer, row: schema.Rig, log: Sequence[LogEntry], answer: dict[str, Any]) -> int:
    """Add pieces of evidence that the lab does not have; how many."""
    database = writer.database
    known = [_told(entry) for entry in log_of_rig(database, row.id)]
    n = 0
    for entry in log:
        if _told(entry) in known:
            continue
        evidence = schema.Evidence(
            rig_id=row.id,
            rig_version=entry.rig_version,
            kind=entry.kind,
            when=entry.when,
            inputs=list(entry.inputs),
            values={name: measured_as_json(measured) for name, measured in entry.values.items()},
            verdict=entry.verdict,
            answer=answer,
            quintain=entry.quintain,
        )
        database.add(evidence)
        database.flush()
        writer.note(
            "add evidence", "rig", row.id,
            after={"evidence": evidence.id, "kind": entry.kind, "verdict": entry.verdict,
                   "inputs": list(entry.inputs)},
        )  # fmt: skip
        n += 1
    return n


def _told(entry: LogEntry) -> tuple[Any, ...]:
    """What makes evidence the same: a recording may be judged twice, with other settings or another rig."""
    values = sorted((name, measured.value, measured.u or 0.0) for name, measured in entry.values.items())
    return entry.kind, entry.when, tuple(entry.inputs), entry.rig_version, entry.verdict, values


def _keep(
    lab: Lab,
    name: str,
    kind: str,
    recordings: Sequence[str | Path],
    reading: Mapping[str, Any] | None,
    channel: str | None,
    who: str,
) -> None:
    """Copy recordings of evidence into the lab."""
    if not recordings:
        return
    paths = [Path(path) for path in recordings]
    report = import_recordings(
        lab, paths, rig=name, kind=_RECORDED[kind], channel=channel, reading=dict(reading or {}), who=who
    )
    refused = report.of("refused")
    if refused:
        raise LabError(f"{refused[0].path}: not taken into the lab: {refused[0].reason}")


def _version(database: Database, name: str, version: str | None) -> schema.RigVersion:
    rig = rig_row(database, name)
    row = database.get(schema.RigVersion, version or rig.current)
    if row is None or row.rig_id != rig.id:
        what = f"no version {version!r}" if version else "no version in use"
        raise MissingError(f"the rig {name!r} has {what} in the lab; add its rig file")
    return row
