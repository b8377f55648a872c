"""What is to be imported and what was said of each file, before any file is opened."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from quintain.errors import QuintainError, UsageError
from quintain.readers.registry import find_reader, list_readers
from quintain.tasks.add_motion import (
    keep_speeds,
    parse_clock_offset,
    parse_normal,
    parse_speeds,
    parse_sync,
    parse_track,
)
from quintain.tasks.file_name_pattern import NamePattern
from quintain.tasks.motion_fits import OF_MOTION
from quintain.tasks.sidecar import SidecarRow, read_sidecar
from quintain.tasks.speed_table import TABLES, text_of_table

__all__ = ["KINDS", "Asked", "plan_import"]

KINDS = ("strikes", "motion", "taps", "drops", "zero", "loads")
"""What a recording may be of."""

_KIND_WORDS = {
    "force": "strikes", "strike": "strikes", "imu": "motion", "tap": "taps", "drop": "drops", "load": "loads",
}  # fmt: skip
_SIDES = {"left": "left", "l": "left", "right": "right", "r": "right"}


@dataclass(frozen=True, slots=True)
class Asked:
    """A file and what was said of it; ``problem`` says why it cannot be taken as it was put."""

    path: Path
    n_bytes: int = 0
    kind: str = "strikes"
    person: str = ""
    type: str = ""
    side: str = ""
    session: str = ""
    rig: str = ""
    trial: int | None = None
    when: datetime | None = None
    channel: str = ""
    motion: Path | None = None
    speeds: str = ""
    offset: str = ""
    sync: str = ""
    track: str = ""
    normal: str = ""
    problem: str = ""


def plan_import(
    paths: Sequence[str | Path],
    *,
    lab: Path,
    session: str | None,
    rig: str | None,
    kind: str,
    pattern: str | Sequence[str] | None,
    sidecar: str | Path | None,
    channel: str | None,
) -> list[Asked]:
    """
    List files and what names, table and options say of each; parameters as for the import itself.

    Raises
    ------
    UsageError
        If an option, the pattern or the table cannot be understood.
    """
    if kind not in KINDS:
        raise UsageError(f"there is no kind of recording {kind!r}; there are: {', '.join(KINDS)}")
    patterns = [
        NamePattern.parse(text) for text in ([pattern] if isinstance(pattern, str) else pattern or ())
    ]
    rows = [] if sidecar is None else read_sidecar(sidecar)
    files, problems = _find_files(paths, lab)
    if sidecar is not None:
        files = [file for file in files if file.resolve() != Path(sidecar).resolve()]
    by_file = _place_rows(rows, files, Path(sidecar or ".").parent, problems)
    tables = _find_tables(by_file, files)
    files = [file for file in files if file not in tables.values()]
    given = {"session": session or "", "rig": rig or "", "kind": kind, "channel": channel or ""}
    asked: dict[Path, Asked] = {}
    for file in files:
        asked[file] = _ask(file, by_file.get(file), patterns, given, told=bool(rows or patterns))
    _read_tables(asked, by_file, tables)
    _pair_by_name(asked, patterns)
    _pair_by_table(asked, by_file)
    _check_motions(asked, by_file)
    return [*asked.values(), *(Asked(path, problem=problem) for path, problem in problems.items())]


def _find_files(paths: Iterable[str | Path], lab: Path) -> tuple[list[Path], dict[Path, str]]:
    """Files in the order asked for, those of a folder by name; and what is no file."""
    found: dict[Path, None] = {}
    problems: dict[Path, str] = {}
    inside = lab.resolve()
    for path in map(Path, paths):
        if path.is_dir():
            listed = sorted(
                file
                for file in path.rglob("*")
                if not any(part.startswith(".") for part in file.relative_to(path).parts)
                and file.suffix != ".part"
                and file.is_file()
                and not file.resolve().is_relative_to(inside)
            )
            if not listed:
                problems[path] = f"{path}: there is no file in this folder"
            found.update(dict.fromkeys(listed))
        elif path.exists():
            found[path] = None
        else:
            problems[path] = f"{path}: there is no such file. Check the spelling and the folder."
    parts = _parts_of(found)
    return [file for file in found if file.resolve() not in parts], problems


def _parts_of(files: Iterable[Path]) -> set[Path]:
    """Files that belong to a recording of several."""
    endings = {suffix for reader in list_readers() if reader.parts for suffix in reader.suffixes}
    parts: set[Path] = set()
    for file in files:
        if file.suffix.lower() in endings:
            try:
                reader = find_reader(file)
                parts.update(part.resolve() for part in (reader.parts(file) if reader.parts else ()))
            except QuintainError:
                continue  # it is refused with its reason when it is read
    return parts


def _place_rows(
    rows: Iterable[SidecarRow], files: Sequence[Path], folder: Path, problems: dict[Path, str]
) -> dict[Path, SidecarRow]:
    by_path = {file.resolve(): file for file in files}
    placed: dict[Path, SidecarRow] = {}
    for row in rows:
        file = _find_named(row.file, folder, by_path)
        if isinstance(file, str):
            problems[folder / row.file] = f"{row.where}: {file}"
        elif file in placed:
            problems[folder / row.file] = (
                f"{row.where}: the same file as in {placed[file].where}; keep one row"
            )
        else:
            placed[file] = row
    return placed


def _find_named(name: str, folder: Path, by_path: Mapping[Path, Path]) -> Path | str:
    """The file that a table names: from its own folder, or the only one whose path ends so."""
    at = by_path.get((folder / name).resolve())
    if at is not None:
        return at
    ends = tuple(Path(name).parts)
    found = [file for file in by_path.values() if file.parts[-len(ends) :] == ends]
    if len(found) == 1:
        return found[0]
    return (
        f"{name} is not among the files to import; check the spelling or name its folder as well"
        if not found
        else f"{name} may be {found[0]} or {found[1]}; name its folder in the table"
    )


def _ask(
    file: Path,
    row: SidecarRow | None,
    patterns: Sequence[NamePattern],
    given: Mapping[str, str],
    *,
    told: bool,
) -> Asked:
    problems: list[str] = []
    says = next((found for found in (p.match(file) for p in patterns) if found is not None), None)
    if told and says is None and row is None:
        asked_for = " or ".join(repr(p.text) for p in patterns) or "a row of the table"
        problems.append(f"nothing says what it is: its name does not fit {asked_for}")
    says = {**given, **(says or {}), **(row.told if row else {})}
    try:
        n_bytes = file.stat().st_size
    except OSError as problem:
        n_bytes = 0
        problems.append(f"{file}: {problem.strerror}")
    kind = _KIND_WORDS.get(says["kind"].casefold(), says["kind"].casefold())
    if kind not in KINDS:
        problems.append(f"there is no kind of recording {says['kind']!r}; there are: {', '.join(KINDS)}")
    side = _SIDES.get(says.get("side", "").casefold(), "")
    if says.get("side") and not side:
        problems.append(f"expected left or right as the side, got {says['side']!r}")
    trial = says.get("trial", "")
    if trial and not trial.isdecimal():
        problems.append(f"expected a whole number as the trial, got {trial!r}")
    when = None
    try:
        when = _when(says)
    except ValueError as problem:
        problems.append(f"the start cannot be understood ({problem}); write it as 2026-11-25T09:30")
    for name, parse in _TYPED.items():
        try:
            if says.get(name) and not (name == "speed" and _names_table(says[name])):
                parse(says[name])
        except UsageError as problem:
            problems.append(str(problem))
    if says.get("speed") and says.get("motion"):
        problems.append("there is both a motion and a speed; give one of them")
    if says.get("offset") and says.get("sync"):
        problems.append("offset and sync both tell the offset between the clocks; give one of them")
    where = f"{row.where}: " if row and problems else ""
    return Asked(
        path=file,
        n_bytes=n_bytes,
        kind=kind,
        person=says.get("person", ""),
        type=says.get("type", ""),
        side=side,
        session=says["session"],
        rig=says["rig"],
        trial=int(trial) if trial.isdecimal() else None,
        when=when,
        channel=says["channel"] if kind != "motion" else "",
        speeds=says.get("speed", ""),
        offset=says.get("offset", ""),
        sync=says.get("sync", ""),
        track=says.get("track", ""),
        normal=says.get("normal", ""),
        problem=where + "; ".join(problems),
    )


_TYPED: dict[str, Callable[[str], object]] = {
    "speed": parse_speeds,
    "offset": parse_clock_offset,
    "sync": parse_sync,
    "track": parse_track,
    "normal": parse_normal,
}
"""What is kept as it was typed, and who understands it."""


def _names_table(speed: str) -> bool:
    """Whether a table of recordings names another one of speeds, rather than to state them."""
    return Path(speed).suffix.lower() in TABLES


def _find_tables(rows: Mapping[Path, SidecarRow], files: Sequence[Path]) -> dict[Path, Path]:
    """Tables of speeds by the recording whose row names them; only files that came along are opened."""
    by_path = {file.resolve(): file for file in files}
    named = {
        file: row.told["speed"].replace("\\", "/") for file, row in rows.items() if row.told.get("speed")
    }
    found = {
        file: _find_named(name, file.parent, by_path) for file, name in named.items() if _names_table(name)
    }
    return {file: table for file, table in found.items() if isinstance(table, Path)}


def _read_tables(
    asked: dict[Path, Asked], rows: Mapping[Path, SidecarRow], tables: Mapping[Path, Path]
) -> None:
    """Give strikes the speeds of the table that their row names."""
    for file, entry in asked.items():
        if not _names_table(entry.speeds):
            continue
        problem = f"its table of speeds {entry.speeds} is not among the files to import; check the spelling"
        if file in tables:
            try:
                asked[file] = replace(entry, speeds=keep_speeds(text_of_table(tables[file])))
                continue
            except QuintainError as trouble:
                problem = str(trouble).replace("the table of speeds", entry.speeds)
        asked[file] = replace(entry, problem=entry.problem or f"{rows[file].where}: {problem}")


def _when(says: Mapping[str, str]) -> datetime | None:
    """Start with its offset; one without is on the clock of this machine."""
    text = says.get("when", "")
    if not text and says.get("date"):
        digits = "".join(mark for mark in says.get("time", "") if mark.isdecimal())
        text = says["date"].replace("-", "") + (f"T{digits}" if digits else "")
    if not text:
        return None
    when = datetime.fromisoformat(text)
    return when.astimezone() if when.tzinfo is None else when


def _pair_by_name(asked: dict[Path, Asked], patterns: Sequence[NamePattern]) -> None:
    """Give strikes the motion whose name says the same but for the kind."""
    if not any("kind" in pattern.names for pattern in patterns):
        return
    motions: dict[tuple[object, ...], list[Path]] = {}
    for entry in asked.values():
        if entry.kind == "motion":
            motions.setdefault(_key(entry), []).append(entry.path)
    for path, entry in asked.items():
        found = motions.get(_key(entry), []) if entry.kind == "strikes" else []
        if len(found) == 1 and entry.speeds:
            problem = (
                f"there are both speeds and a motion by its name, {found[0].name}; take the speeds out of "
                "the table, or import the motion apart"
            )
            asked[path] = replace(entry, problem=entry.problem or problem)
        elif len(found) == 1:
            asked[path] = replace(entry, motion=found[0])
        elif found:
            problem = f"{found[0].name} and {found[1].name} may both be its motion; say which in a table"
            asked[path] = replace(entry, problem=entry.problem or problem)


def _key(entry: Asked) -> tuple[object, ...]:
    return entry.person, entry.type, entry.side, entry.session, entry.trial, entry.when


def _pair_by_table(asked: dict[Path, Asked], rows: Mapping[Path, SidecarRow]) -> None:
    """Give strikes the motion that their row names, which thereby is one."""
    by_path = {file.resolve(): file for file in asked}
    for file, row in rows.items():
        name = row.told.get("motion", "").replace("\\", "/")
        if not name:
            continue
        found = _find_named(name, file.parent, by_path)
        if isinstance(found, str):
            asked[file] = replace(
                asked[file], problem=asked[file].problem or f"{row.where}: its motion {found}"
            )
            continue
        motion = asked[found]
        if found not in rows:
            # No row of its own: what is said of the strikes is said of it.
            force = asked[file]
            motion = replace(
                motion, person=force.person, type=force.type, side=force.side, session=force.session,
                rig=force.rig, problem="",
            )  # fmt: skip
        asked[found] = replace(motion, kind="motion", channel="")
        asked[file] = replace(asked[file], motion=found)


def _check_motions(asked: dict[Path, Asked], rows: Mapping[Path, SidecarRow]) -> None:
    """Refuse what is said of a motion where there is none."""
    for path, entry in asked.items():
        said = [name for name in OF_MOTION if getattr(entry, name)]
        if said and entry.motion is None and not entry.problem:
            asked[path] = replace(
                entry,
                problem=f"{rows[path].where}: {said[0]} says something of a recording of the motion; name it "
                "under 'motion', in the row of the strikes",
            )
