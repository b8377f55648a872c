"""What speaks for a rig of a lab: its evidence one by one, and its versions with what changed."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import select

from quintain.domain.as_json import drops_as_json
from quintain.domain.drop import DropSettings, DropTest
from quintain.domain.measured import Measured
from quintain.domain.rig import Rig
from quintain.domain.tap import TapTest
from quintain.errors import MissingError, QuintainError
from quintain.report.drops_report import drop_sections
from quintain.report.parts import Section
from quintain.report.rig_facts import rig_facts
from quintain.report.tap_report import tap_sections
from quintain.store import schema
from quintain.store.lab import Lab
from quintain.tasks.drops import analyse_drops_file
from quintain.tasks.lab_rigs import rig_of
from quintain.tasks.lab_rows import rig_row
from quintain.tasks.tap import tap_files
from quintain.version import __version__

__all__ = [
    "EvidenceRow",
    "VersionRow",
    "drop_settings_of",
    "evidence_sections",
    "rig_evidence",
    "rig_versions",
]


@dataclass(frozen=True, slots=True)
class EvidenceRow:
    """
    A piece of evidence; ``inputs`` are SHA-256 and name of the recordings it rests on.

    ``whole`` says that it can be shown in full: its settings and the bytes it rests on are in the lab.
    """

    id: int
    kind: str
    when: datetime
    verdict: str
    rig_version: str
    inputs: tuple[tuple[str, str], ...]
    values: Mapping[str, Measured]
    whole: bool
    quintain: str
    answer: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class VersionRow:
    """A version of a rig, and what changed since the one before: name, before and after in words."""

    version: str
    added: datetime
    in_use: bool
    changes: tuple[tuple[str, str, str], ...]
    trouble: str = ""


def rig_evidence(lab: Lab, name: str) -> tuple[EvidenceRow, ...]:
    """
    All evidence of a rig, the newest first.

    Raises
    ------
    LabError
        If there is no such rig.
    """
    with lab.reading() as database:
        rig = rig_row(database, name)
        query = select(schema.Evidence).where(schema.Evidence.rig_id == rig.id)
        rows = database.scalars(query.order_by(schema.Evidence.when.desc(), schema.Evidence.id.desc())).all()
        hashes = {sha256 for row in rows for sha256 in row.inputs}
        named = select(schema.Recording.sha256, schema.Recording.name, schema.Recording.gone)
        there = {
            sha256: (said, gone)
            for sha256, said, gone in database.execute(named.where(schema.Recording.sha256.in_(hashes)))
        }
    return tuple(_row(row, there) for row in rows)


def rig_versions(lab: Lab, name: str) -> tuple[VersionRow, ...]:
    """
    Versions of a rig, the newest first; of one that cannot be read ``trouble`` says why.

    Raises
    ------
    LabError
        If there is no such rig.
    """
    with lab.reading() as database:
        rig = rig_row(database, name)
        query = select(schema.RigVersion).where(schema.RigVersion.rig_id == rig.id)
        versions = database.scalars(query.order_by(schema.RigVersion.added, schema.RigVersion.version)).all()
    rows = []
    before: dict[str, str] | None = None
    for version in versions:
        trouble = ""
        facts: dict[str, str] = {}
        try:
            stated = rig_facts(Rig.from_toml(version.toml, origin=f"rig {name!r}"))
            facts = {fact.name: fact.value for fact in stated if fact.name != "Version"}
        except QuintainError as problem:
            trouble = str(problem)
        changes: tuple[tuple[str, str, str], ...] = ()
        if before is not None and not trouble:
            names = [*facts, *(gone for gone in before if gone not in facts)]
            changes = tuple(
                (what, before.get(what, "not stated"), facts.get(what, "not stated"))
                for what in names
                if before.get(what) != facts.get(what)
            )
        before = facts or before
        rows.append(
            VersionRow(version.version, version.added, version.version == rig.current, changes, trouble)
        )
    return tuple(reversed(rows))


def evidence_sections(
    lab: Lab, name: str, number: int, *, make: bool = True
) -> tuple[list[dict[str, Any]], str] | None:
    """
    A tap test or drop test in full, made again from its bytes and kept in the lab's cache.

    Parameters
    ----------
    lab : Lab
        The lab.
    name : str
        The rig.
    number : int
        Of the evidence.
    make : bool
        Make them again if they are not kept, which takes seconds; None is given otherwise.

    Returns
    -------
    sections : list of dict
        As :class:`~quintain.report.parts.Section`; empty where the evidence does not hold its settings,
        as when it came with a rig file's log.
    note : str
        What has to be said of them; empty where the same bits came out again.

    Raises
    ------
    LabError
        If there is no such evidence, or its bytes are gone.
    """
    row = next((one for one in rig_evidence(lab, name) if one.id == number), None)
    if row is None:
        raise MissingError(f"the rig {name!r} has no evidence {number}")
    if not row.whole:
        return [], ""
    kept = lab.cache / "evidence" / f"{number}-{__version__}.json"
    try:
        told = json.loads(kept.read_text(encoding="utf-8"))
        return told["sections"], told["note"]
    except (OSError, ValueError, KeyError):
        pass
    if not make:
        return None
    made, note = _again(lab, name, row)
    sections = [dataclasses.asdict(section) for section in made]
    try:
        kept.parent.mkdir(parents=True, exist_ok=True)
        part = kept.with_suffix(".part")
        part.write_text(json.dumps({"sections": sections, "note": note}), encoding="utf-8")
        part.replace(kept)
    except OSError:
        pass  # a lab that may only be read keeps no cache
    return sections, note


def drop_settings_of(method: Mapping[str, Any]) -> DropSettings:
    """Settings of a drop test from those that its answer states; gravity is as it was used."""
    known = {name: method.get(name) for name in ("u_mass", "gravity", "u_gravity", "cell_stiffness")}
    return DropSettings(
        mass=method["mass"],
        heights=tuple(method.get("heights") or ()),
        u_height=method.get("u_height", 0.001),
        **known,
    )


def _row(row: schema.Evidence, there: Mapping[str, tuple[str, datetime | None]]) -> EvidenceRow:
    values = {
        name: Measured(name, told["value"], told.get("u"))
        for name, told in row.values.items()
        if told and told.get("value") is not None
    }
    inputs = tuple((sha256, there.get(sha256, ("", None))[0]) for sha256 in row.inputs)
    at_hand = all(sha256 in there and there[sha256][1] is None for sha256 in row.inputs)
    whole = row.kind in ("tap", "drops") and bool(row.answer.get("method")) and at_hand and bool(inputs)
    return EvidenceRow(
        row.id, row.kind, row.when, row.verdict, row.rig_version, inputs, values, whole, row.quintain,
        row.answer,
    )  # fmt: skip


def _again(lab: Lab, name: str, row: EvidenceRow) -> tuple[Sequence[Section], str]:
    paths, reading, channel = _bytes_of(lab, row)
    method = row.answer["method"]
    if row.kind == "tap":
        test = _taps_again(lab, name, row, paths, method, reading)
        return tap_sections(test), ""
    best: DropTest | None = None
    for version in _versions_near(lab, name, row):
        rig = rig_of(lab, name, version)
        drops = analyse_drops_file(
            paths[0], drop_settings_of(method), rig=rig, channel=channel or None, **reading
        )
        drops = dataclasses.replace(drops, path=row.inputs[0][1])
        # as it would come back from the lab, where tuples are lists
        results = json.loads(json.dumps(drops_as_json(drops, version="")["results"]))
        if results == row.answer["results"]:
            return drop_sections(drops), ""
        best = best or drops
    assert best is not None
    return drop_sections(best), (
        f"Made again from the recording with quintain {__version__}; the test of {row.when:%Y-%m-%d} used "
        f"quintain {row.quintain} or another version of the rig, and its numbers differ."
    )


def _taps_again(
    lab: Lab,
    name: str,
    row: EvidenceRow,
    paths: Sequence[Path],
    method: Mapping[str, Any],
    reading: Mapping[str, Any],
) -> TapTest:
    rig = rig_of(lab, name)
    test = tap_files(paths, rig=rig, channel=method.get("channel"), n_modes=method.get("n_modes"), **reading)
    named = {str(path): said for path, (_, said) in zip(paths, row.inputs, strict=True)}
    return dataclasses.replace(
        test,
        inputs=tuple((said, sha256) for sha256, said in row.inputs),
        taps=tuple(dataclasses.replace(tap, path=named.get(tap.path, tap.path)) for tap in test.taps),
    )


def _bytes_of(lab: Lab, row: EvidenceRow) -> tuple[list[Path], dict[str, Any], str]:
    with lab.reading() as database:
        recordings = [database.get_one(schema.Recording, sha256) for sha256, _ in row.inputs]
    paths = [lab.originals.path(recording.sha256) for recording in recordings]
    return paths, lab.originals.settings(recordings[0].reading), recordings[0].channel


def _versions_near(lab: Lab, name: str, row: EvidenceRow) -> list[str]:
    """Versions that the test may have been made with: the one before what it changed, then its own."""
    versions = [one.version for one in rig_versions(lab, name)]
    if row.rig_version not in versions:
        return versions[:1]
    place = versions.index(row.rig_version)
    return [*versions[place + 1 : place + 2], row.rig_version]
