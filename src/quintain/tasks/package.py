"""
A lab, or some of its sessions, as a Frictionless data package, and a lab from a package.

A package holds the tables of the lab without what identifies, and the original bytes; ``datapackage.json``
tells size and SHA-256 of every file and the meaning of every column.
"""

from __future__ import annotations

import io
import json
import re
import shutil
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import select, update
from sqlalchemy.exc import SQLAlchemyError

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.errors import LabError, MissingError
from quintain.quantities import GLOSSARY
from quintain.store.export.container import Reading, Stored, open_package, writing_package
from quintain.store.export.lab_tables import (
    TABLES,
    Pointer,
    Row,
    dump,
    fill,
    point,
    renew_counters,
    table_schema,
)
from quintain.store.export.redaction import Redaction
from quintain.store.lab import Lab
from quintain.store.migration import known_revisions
from quintain.store.schema import (
    Analysis,
    Audit,
    Evidence,
    LabFacts,
    Planned,
    Recording,
    RigVersion,
    Session,
    Strike,
    StrikeType,
)
from quintain.tasks.progress import Progress, silent
from quintain.version import __version__

__all__ = ["Package", "lab_from_package", "write_package"]

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
DESCRIPTOR = "datapackage.json"
FORM = 1
"""Of what stands under ``quintain`` in the descriptor."""

LARGEST_DESCRIPTOR = 256 << 20

_ORIGINAL = re.compile(r"recordings/([0-9a-f]{2})/([0-9a-f]{64})(\.[^/]+)?(/.+)?")


class Package(NamedTuple):
    """A package, how many strikes and originals it holds, and how many originals were not at hand."""

    path: Path
    n_strikes: int
    n_recordings: int
    n_missing: int


def write_package(
    lab: Lab,
    to: str | Path,
    *,
    sessions: tuple[str, ...] = (),
    recordings: bool = True,
    notes: bool = False,
    file_names: bool = False,
    progress: Progress = silent,
) -> Package:
    """
    Write a package.

    Parameters
    ----------
    lab : Lab
        The lab.
    to : path
        A file ending ``.zip``, or a new or empty folder.
    sessions : tuple of str
        Codes of sessions to restrict it to, with everything they need; all of the lab if left out.
    recordings : bool
        With the original bytes. What their makers wrote into them is not looked at.
    notes : bool
        With free notes, which may identify somebody.
    file_names : bool
        With the names that files had, which may identify somebody; else they are numbered in their order.
    progress : Progress, optional
        Told of the original bytes written.

    Raises
    ------
    LabError
        If there is no such session.
    OutputError
        If it cannot be written; nothing half is left then.
    """
    to = Path(to)
    with lab.reading() as database, writing_package(to) as package:
        facts = database.get(LabFacts, 1)
        if facts is None:
            raise LabError(f"{lab.folder}: the lab's database is empty; restore it from a copy")
        chosen = _Chosen(database, sessions) if sessions else None
        names = {
            sha256: name
            for sha256, name in database.execute(select(Recording.sha256, Recording.name))
            if chosen is None or chosen.has("recording", {"sha256": sha256})
        }
        redaction = Redaction(names, notes=notes, file_names=file_names)

        def leaves(table: str, row: Row) -> Row | None:
            return redaction.row(table, row) if chosen is None or chosen.has(table, row) else None

        resources = []
        n_strikes = 0
        for name in TABLES:
            lines = dump(database, name, lambda row, name=name: leaves(name, row))  # type: ignore[misc]
            stored = package.add(f"tables/{name}.csv", lines)
            resources.append(_table_resource(name, stored))
        n_strikes = chosen.n_strikes if chosen else database.query(Strike).count()
        files, missing = _originals(lab, sorted(names)) if recordings else ([], 0)
        total = sum(file.stat().st_size for _, file in files)
        kept: list[Stored] = []
        before = 0
        for path, file in files:
            kept.append(package.add(path, _parts(file, before, total, progress)))
            before += kept[-1].n_bytes
        resources += [_original_resource(stored) for stored in kept]
        told = {
            "$schema": PROFILE,
            "name": "quintain-lab",
            "title": facts.name,
            "description": _DESCRIPTION + (" All of it is invented." if facts.invented else ""),
            "created": datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
            "resources": resources,
            "quintain": {
                "form": FORM,
                "quintain": __version__,
                "revision": known_revisions()[-1],
                "lab": {
                    "uuid": facts.uuid,
                    "name": facts.name,
                    "invented": facts.invented,
                    "created": facts.created.isoformat(),
                },
                "sessions": list(sessions),
                "notes": notes,
                "file_names": file_names,
                "recordings": recordings,
            },
        }
        package.add(DESCRIPTOR, [json.dumps(told, ensure_ascii=False, indent=1).encode()])
        package.add("README.md", [_readme(facts.name, facts.invented).encode()])
    return Package(to, n_strikes, len(kept), missing)


def lab_from_package(
    package: str | Path,
    folder: str | Path,
    *,
    url: str = "",
    who: str = "quintain",
    progress: Progress = silent,
) -> Lab:
    """
    Make a lab of a package: the same hashes, strikes, tags and results.

    Parameters
    ----------
    package : path
        A folder or a zip file.
    folder : path
        New or empty folder for the lab.
    url : str
        An empty PostgreSQL database, where the tables are not to lie in the folder.
    who : str
        Who asked, for the audit.
    progress : Progress, optional
        Told of the bytes checked, then of those taken; to stop it leaves nothing behind.

    Returns
    -------
    Lab
        Open.

    Raises
    ------
    LabError
        If the package is damaged, strange or newer, or does not fit on the disk; nothing is written then.
    """
    package, folder = Path(package), Path(folder)
    with open_package(package) as reading:
        told, resources = _described(reading)
        needed = sum(stored.n_bytes for stored in resources.values())
        _check_room(folder, needed)
        for done, stored in _counted(resources.values()):
            progress("check", done, needed)
            reading.check(stored)
        made_folder = not folder.exists()
        lab = Lab.create(folder, name=told["lab"]["name"], invented=bool(told["lab"]["invented"]), url=url)
        try:
            for done, stored in _counted(resources.values()):
                progress("import", done, needed)
                if _ORIGINAL.fullmatch(stored.path):
                    _put(lab, reading, stored.path)
            _enter(lab, reading, told, resources, who=who, package=package)
        except BaseException as problem:
            lab.close()
            for left in folder.iterdir():
                shutil.rmtree(left) if left.is_dir() else left.unlink()
            if made_folder:
                folder.rmdir()
            if isinstance(problem, SQLAlchemyError | KeyError | TypeError | OSError):
                raise LabError(
                    f"{package}: the tables of the package do not fit together ({_brief(problem)}); no lab "
                    "was made; ask for the package anew"
                ) from None
            raise
    return lab


# -- out


_DESCRIPTION = (
    "Recordings of strikes on a padded load cell, their analysis with standard uncertainties, and how each "
    "number came about. People are codes. Times are UTC, quantities in SI units."
)


class _Chosen:
    """What some sessions need of every table, by primary key; what is not named here is needed whole."""

    def __init__(self, database: Any, sessions: tuple[str, ...]) -> None:
        by_code = dict(database.execute(select(Session.code, Session.id)).all())
        for code in sessions:
            if code not in by_code:
                raise MissingError(f"there is no session {code!r} in the lab")
        ids = {by_code[code] for code in sessions}
        recordings = list(database.scalars(select(Recording)))
        own = {r.sha256 for r in recordings if r.session_id in ids}
        own |= {r.motion_sha256 for r in recordings if r.sha256 in own and r.motion_sha256}
        strikes = [
            (id, person)
            for id, sha256, person in database.execute(
                select(Strike.id, Strike.recording_sha256, Strike.person_id)
            )
            if sha256 in own
        ]
        analyses = [a for a in database.scalars(select(Analysis)) if a.recording_sha256 in own]
        versions = dict(database.execute(select(RigVersion.version, RigVersion.rig_id)).all())
        rigs = {r.rig_id for r in recordings if r.sha256 in own}
        rigs |= {versions[a.rig_version] for a in analyses if a.rig_version}
        rigs |= set(database.scalars(select(Session.rig_id).where(Session.id.in_(ids))))
        evidence = [e for e in database.scalars(select(Evidence)) if e.rig_id in rigs]
        own |= {sha256 for e in evidence for sha256 in e.inputs} & {r.sha256 for r in recordings}
        people = {person for _, person in strikes} | {r.person_id for r in recordings if r.sha256 in own}
        people |= set(database.scalars(select(Planned.person_id).where(Planned.session_id.in_(ids))))
        self.n_strikes = len(strikes)
        numbers = {id for id, _ in strikes}
        self._keys: dict[str, tuple[str, set[Any]]] = {
            "session": ("id", ids | {r.session_id for r in recordings if r.sha256 in own}),
            "planned": ("session_id", ids),
            "recording": ("sha256", own),
            "strike": ("id", numbers),
            "analysis": ("id", {a.id for a in analyses}),
            "result": ("strike_id", numbers),
            "person": ("id", people),
            "rig": ("id", rigs),
            "rig_version": ("rig_id", rigs),
            "evidence": ("rig_id", rigs),
            "method": ("sha256", {a.method_sha256 for a in analyses}),
            "study": ("id", set()),
        }
        self._subjects = {
            "strike": {str(id) for id in numbers},
            "recording": own,
            "session": {str(id) for id in ids},
            "person": {str(id) for id in people},
            "rig": {str(id) for id in rigs},
        }

    def has(self, table: str, row: Row) -> bool:
        """Whether a row is needed."""
        if table == "audit":
            return row["subject_id"] in self._subjects.get(row["subject"], ())
        if table not in self._keys:
            return True
        key, wanted = self._keys[table]
        return row[key] in wanted


def _originals(lab: Lab, wanted: Iterable[str]) -> tuple[list[tuple[str, Path]], int]:
    """Original bytes and settings that came with them, each with its place; and how many are missing."""
    kept: list[tuple[str, Path]] = []
    missing = 0
    folder = lab.originals.folder
    with lab.reading() as database:
        settings: dict[str, Row] = dict(database.execute(select(Recording.sha256, Recording.reading)).all())
    hashes: dict[str, None] = {}
    for sha256 in wanted:
        hashes[sha256] = None
        for value in settings[sha256].values():
            if isinstance(value, str) and value.startswith("original:"):
                hashes[value.removeprefix("original:")] = None
    for sha256 in hashes:
        found = lab.originals.find(sha256)
        if found is None:
            missing += 1
            continue
        top = folder / found.relative_to(folder).parts[0] / found.relative_to(folder).parts[1]
        for file in sorted(p for p in top.rglob("*") if p.is_file()) if top.is_dir() else [top]:
            kept.append((f"recordings/{file.relative_to(folder).as_posix()}", file))
    return kept, missing


def _parts(file: Path, before: int, total: int, progress: Progress) -> Iterator[bytes]:
    """Bytes of a file, a megabyte at a time, after so many of the total."""
    with file.open("rb") as opened:
        while part := opened.read(1 << 20):
            progress("package", before + opened.tell(), total)
            yield part


def _table_resource(name: str, stored: Stored) -> Row:
    schema = table_schema(name)
    if name == "result":
        for field in schema["fields"]:
            quantity = field["name"].removeprefix("u_")
            if quantity in STRIKE_QUANTITIES:
                entry = GLOSSARY[quantity]
                of = "" if field["name"] == quantity else "Standard uncertainty of: "
                field |= {"title": f"{of}{entry.label}", "description": f"{of}{entry.definition}"}
                field["unit"] = entry.unit
    return {
        "name": name.replace("_", "-"),
        "type": "table",
        "path": stored.path,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": stored.n_bytes,
        "hash": f"sha256:{stored.sha256}",
        "schema": schema,
    }


def _original_resource(stored: Stored) -> Row:
    name = re.sub(r"[^a-z0-9._/-]", "-", stored.path.lower())
    return {
        "name": name.replace("/", "-"),
        "path": stored.path,
        "format": Path(stored.path).suffix.removeprefix(".").lower() or "bin",
        "bytes": stored.n_bytes,
        "hash": f"sha256:{stored.sha256}",
    }


def _readme(name: str, invented: bool) -> str:
    return f"""# {name}

{_DESCRIPTION}
{"All of it is invented." if invented else ""}
A Frictionless data package (datapackage.org): datapackage.json tells every file and column. The tables are
those of a Quintain lab, RFC 4180 in UTF-8. Text that begins with = + - @, a tab, a line break or an
apostrophe has an apostrophe before it, so that no spreadsheet runs it. The original bytes lie in recordings/
under their SHA-256, as they were: nobody looked whether a program wrote a name into them. A lab is made of
the package again by: quintain import-package PACKAGE NEW-FOLDER
"""


# -- in


def _described(reading: Reading) -> tuple[Row, dict[str, Stored]]:
    """What the descriptor tells; every file must be told, and every told file be there."""
    place = reading.place
    size = reading.sizes.get(DESCRIPTOR)
    if size is None:
        raise LabError(f"{place}: no package: there is no {DESCRIPTOR} in it")
    if size > LARGEST_DESCRIPTOR:
        raise LabError(f"{place}: {DESCRIPTOR} is larger than {LARGEST_DESCRIPTOR >> 20} MiB")
    try:
        with reading.open(DESCRIPTOR) as file:
            told = json.loads(file.read(LARGEST_DESCRIPTOR))
        ours = told["quintain"]
        form, revision = int(ours["form"]), str(ours["revision"])
        str(ours["lab"]["name"]), str(ours["lab"]["uuid"]), bool(ours["lab"]["invented"])
        datetime.fromisoformat(ours["lab"]["created"])
        resources = {
            str(r["path"]): Stored(str(r["path"]), int(r["bytes"]), str(r["hash"]).removeprefix("sha256:"))
            for r in told["resources"]
        }
    except Exception as problem:
        if not isinstance(problem, ValueError | KeyError | TypeError | OSError | AttributeError):
            raise LabError(f"{place}: {DESCRIPTOR} is damaged; fetch the package again") from None
        raise LabError(f"{place}: {DESCRIPTOR} is not that of a Quintain lab ({_brief(problem)})") from None
    if form > FORM or revision > known_revisions()[-1]:
        raise LabError(
            f"{place}: the package is of a newer Quintain ({ours.get('quintain')}); this is {__version__}; "
            "install the newer one"
        )
    for path, stored in resources.items():
        match = _ORIGINAL.fullmatch(path)
        table = path.removeprefix("tables/").removesuffix(".csv")
        if match is None and not (path == f"tables/{table}.csv" and table in TABLES):
            raise LabError(f"{place}: the package tells of {path!r}, which is no part of a lab")
        if match and not (match[2].startswith(match[1]) and (match[4] or stored.sha256 == match[2])):
            raise LabError(f"{place}: {path} does not lie under its own SHA-256; fetch the package again")
        if reading.sizes.get(path) != stored.n_bytes:
            there = reading.sizes.get(path)
            words = "is not in it" if there is None else f"has {there} bytes"
            raise LabError(
                f"{place}: {path} {words}, expected {stored.n_bytes} bytes; fetch the package again"
            )
    untold = sorted(set(reading.sizes) - set(resources) - {DESCRIPTOR, "README.md"})
    if untold:
        raise LabError(f"{place}: the package holds {untold[0]!r}, of which {DESCRIPTOR} does not tell")
    lacking = [name for name in TABLES if f"tables/{name}.csv" not in resources]
    if lacking:
        raise LabError(f"{place}: the package lacks the table {lacking[0]!r}; fetch it again")
    return ours, resources


def _check_room(folder: Path, needed: int) -> None:
    near = next(p for p in (folder.absolute(), *folder.absolute().parents) if p.exists())
    free = shutil.disk_usage(near).free
    if needed * 2 > free:  # tables take about as much again in the database
        raise LabError(
            f"{folder}: the package needs about {2 * needed / 1e6:.0f} MB, the disk has "
            f"{free / 1e6:.0f} MB left"
        )


def _counted(resources: Iterable[Stored]) -> Iterator[tuple[int, Stored]]:
    """Each with the bytes of those before it."""
    done = 0
    for stored in resources:
        yield done, stored
        done += stored.n_bytes


def _put(lab: Lab, reading: Reading, path: str) -> None:
    place = lab.folder / path
    place.parent.mkdir(parents=True, exist_ok=True)
    with reading.open(path) as file, place.open("wb") as copy:
        shutil.copyfileobj(file, copy, 1 << 20)
    place.chmod(0o444)


def _enter(
    lab: Lab, reading: Reading, told: Row, resources: dict[str, Stored], *, who: str, package: Path
) -> None:
    with lab.writing(who) as writer:
        database = writer.database
        known: dict[str, frozenset[Any]] = {
            "strike_type": frozenset(database.scalars(select(StrikeType.name))),
            "audit": frozenset(database.scalars(select(Audit.id))),
        }
        pointers: list[Pointer] = []
        for name in TABLES:
            with reading.open(f"tables/{name}.csv") as file:
                lines = io.TextIOWrapper(file, encoding="utf-8", newline="")
                pointers += fill(database, name, lines, known.get(name, frozenset()))
        point(database, pointers)
        renew_counters(database)
        database.execute(
            update(LabFacts).values(
                uuid=told["lab"]["uuid"], created=datetime.fromisoformat(told["lab"]["created"])
            )
        )
        writer.note(
            "import package", "lab", 1,
            after={"sha256": resources["tables/result.csv"].sha256, "quintain": told.get("quintain")},
        )  # fmt: skip


def _brief(problem: BaseException) -> str:
    return str(getattr(problem, "orig", problem)).splitlines()[0][:200]
