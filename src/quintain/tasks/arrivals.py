"""Files that arrived for import and wait: looked at first, then imported or forgotten."""

from __future__ import annotations

import dataclasses
import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select

from quintain.errors import LabError, UsageError
from quintain.store.lab import Lab
from quintain.store.schema import Source
from quintain.tasks.import_recordings import ImportReport, import_recordings
from quintain.tasks.progress import Progress, silent
from quintain.tasks.reading_settings import reading

__all__ = [
    "Arrival",
    "Told",
    "arrival_of",
    "arrivals_folder",
    "arrived",
    "forget_arrival",
    "import_arrival",
    "keep_arrival",
    "look_at_arrival",
    "sweep_arrivals",
    "tell_arrival",
]

_CODE = re.compile(r"[0-9a-f]{16}\Z")
_LONGEST = 200
"""Bytes of a file's name; file systems take 255, and copies add to it."""
_KEPT = 3 * 86_400.0
"""How long files wait that nobody imports. [s]"""


@dataclass(frozen=True, slots=True)
class Told:
    """What was said of files beside their names: as for :func:`~quintain.tasks.import_recordings`."""

    session: str = ""
    rig: str = ""
    kind: str = "strikes"
    pattern: str = ""
    channel: str = ""
    columns: str = ""
    rate: str = ""
    units: str = ""
    settings: str = ""
    add: bool = False
    restate: bool = False

    def reading(self) -> dict[str, Any]:
        """
        Settings for the reader.

        Raises
        ------
        UsageError
            If a setting cannot be understood, or names a file of this machine, which is not its sender's
            to read.
        """
        own = {"columns": self.columns, "rate": self.rate, "units": self.units}
        texts = [f"{name}={value}" for name, value in own.items() if value]
        given = reading([*texts, *(line for line in self.settings.splitlines() if line.strip())])
        if "layout" in given:
            raise UsageError(
                "plain binary numbers are described by a file beside them; import them on the lab's own "
                "machine, with quintain import"
            )
        return given


@dataclass(frozen=True, slots=True)
class Arrival:
    """Files that wait under a code; ``table`` says who, what and when, if one came with them."""

    code: str
    folder: Path
    files: tuple[Path, ...]
    table: Path | None
    told: Told


def arrivals_folder(lab: Lab) -> Path:
    """Where files arrive: in the cache, on the disk that they will stay on."""
    return lab.cache / "arrived"


def keep_arrival(
    lab: Lab, files: Iterable[tuple[str, Path]], told: Told, *, table: tuple[str, Path] | None = None
) -> Arrival:
    """
    Take over files that are here whole, under the names their sender gave them as far as these are safe.

    Parameters
    ----------
    lab : Lab
        The lab; nothing is entered into it yet.
    files : iterable of (str, Path)
        The sender's name of each file, and where it lies; it is moved.
    told : Told
        What was said of them.
    table : (str, Path), optional
        The same of a table of who, what and when.

    Returns
    -------
    Arrival
        There at once and whole: a folder that is half made is never seen.
    """
    code = secrets.token_hex(8)
    folder = arrivals_folder(lab) / code
    part = folder.with_name(f"{code}.part")
    (part / "files").mkdir(parents=True)
    if table is not None:
        # inside the folder of files, from where its rows name them
        os.replace(table[1], _place(part / "files", f"table{Path(table[0]).suffix.lower()[:8]}"))
        (part / "table").touch()
    for name, path in files:
        os.replace(path, _place(part / "files", name))
    (part / "told.json").write_text(json.dumps(dataclasses.asdict(told)), encoding="utf-8")
    os.replace(part, folder)
    return arrival_of(lab, code)


def arrival_of(lab: Lab, code: str) -> Arrival:
    """
    Files that wait under a code.

    Raises
    ------
    LabError
        If there are none: imported meanwhile, forgotten, or never there.
    """
    folder = arrivals_folder(lab) / code
    if not _CODE.match(code) or not (folder / "told.json").is_file():
        raise LabError("these files are no longer waiting: they were imported or let go. Send them again")
    told = Told(**json.loads((folder / "told.json").read_text(encoding="utf-8")))
    files = sorted(file for file in (folder / "files").rglob("*") if file.is_file())
    table = None
    if (folder / "table").exists():
        table = next(file for file in files if file.parent.name == "files" and file.stem == "table")
    return Arrival(code, folder, tuple(file for file in files if file != table), table, told)


def tell_arrival(lab: Lab, code: str, told: Told) -> Arrival:
    """Say something else of files that wait; errors as :func:`arrival_of`."""
    arrival = arrival_of(lab, code)
    part = arrival.folder / "told.json.part"
    part.write_text(json.dumps(dataclasses.asdict(told)), encoding="utf-8")
    os.replace(part, arrival.folder / "told.json")
    return dataclasses.replace(arrival, told=told)


def look_at_arrival(lab: Lab, arrival: Arrival) -> ImportReport:
    """
    What an import would do with each file; nothing is written.

    Raises
    ------
    UsageError
        If pattern, table or a setting cannot be understood.
    """
    return _import(lab, arrival, who="", dry_run=True, progress=silent)


def import_arrival(lab: Lab, arrival: Arrival, *, who: str, progress: Progress = silent) -> ImportReport:
    """Import files that wait; errors as :func:`~quintain.tasks.import_recordings.import_recordings`."""
    try:
        return _import(lab, arrival, who=who, dry_run=False, progress=progress)
    finally:
        _name_sources(lab, arrival, who)


@contextmanager
def arrived(lab: Lab, name: str, path: Path, *, who: str) -> Iterator[Path]:
    """
    One file that arrived, under its sender's name, for as long as it is wanted.

    What of it came into the lab meanwhile is said to have been sent.

    Parameters
    ----------
    lab : Lab
        The lab.
    name : str
        The sender's name of the file.
    path : Path
        Where it lies; it is moved.
    who : str
        In whose name.
    """
    arrival = keep_arrival(lab, [(name, path)], Told())
    try:
        yield arrival.files[0]
    finally:
        _name_sources(lab, arrival, who)
        forget_arrival(lab, arrival.code)


def forget_arrival(lab: Lab, code: str) -> None:
    """Let files go that wait; those that are not there any more are no error."""
    if _CODE.match(code):
        shutil.rmtree(arrivals_folder(lab) / code, ignore_errors=True)


def sweep_arrivals(lab: Lab) -> None:
    """Let go what nobody imported for days, and what a server left half received when it was stopped."""
    folder = arrivals_folder(lab)
    for place in folder.iterdir() if folder.is_dir() else ():
        newest = max((f.stat().st_mtime for f in (place, *place.rglob("*"))), default=0.0)
        half = place.suffix == ".part" or place.name.startswith("incoming-")
        if time.time() - newest > (3600.0 if half else _KEPT):
            shutil.rmtree(place, ignore_errors=True)


def _import(lab: Lab, arrival: Arrival, *, who: str, dry_run: bool, progress: Progress) -> ImportReport:
    told = arrival.told
    report = import_recordings(
        lab,
        arrival.files,
        session=told.session or None,
        rig=told.rig or None,
        kind=told.kind,
        pattern=told.pattern or None,
        sidecar=arrival.table,
        channel=told.channel or None,
        reading={} if told.kind == "motion" else told.reading(),
        motion_reading=told.reading() if told.kind == "motion" else {},
        add_people=told.add,
        add_types=told.add,
        add_sessions=told.add,
        restate=told.restate,
        dry_run=dry_run,
        who=who,
        progress=progress,
    )
    inside = f"{arrival.folder / 'files'}{os.sep}"  # a place of ours, which says nothing to the sender
    files = tuple(
        dataclasses.replace(file, reason=file.reason.replace(inside, "")) if file.reason else file
        for file in report.files
    )
    return dataclasses.replace(report, files=files)


def _name_sources(lab: Lab, arrival: Arrival, who: str) -> None:
    """Say of files that they were sent, under their name: where they lay in between tells nobody anything."""
    with lab.writing(who) as writer:
        inside = Source.path.startswith(str(arrival.folder.absolute()), autoescape=True)
        for source in writer.database.scalars(select(Source).where(inside)):
            said = f"{Path(source.path).name} (sent to the app)"
            there = select(Source.id).where(
                Source.recording_sha256 == source.recording_sha256, Source.path == said
            )
            if writer.database.scalar(there) is None:
                source.path = said
            else:
                writer.database.delete(source)


def _place(folder: Path, name: str) -> Path:
    """A path for a name from elsewhere: never outside the folder, never over another file."""
    base = "".join("_" if mark in '/\\:*?"<>|' or not mark.isprintable() else mark for mark in name)
    base = base.strip(". ") or "unnamed"
    stem, suffix = Path(base).stem, Path(base).suffix[:20]
    while len((stem + suffix).encode()) > _LONGEST:
        stem = stem[:-1]
    number, place = 1, folder / (stem + suffix)
    while place.exists():
        number += 1
        place = folder / str(number) / (stem + suffix)
    place.parent.mkdir(exist_ok=True)
    return place
