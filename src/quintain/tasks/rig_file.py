"""Change a rig file and its log; nothing that was written before is ever lost."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import tomlkit

from quintain.domain.as_json import measured_as_json
from quintain.domain.measured import Measured
from quintain.domain.rig import Rig
from quintain.domain.rig_log import LogEntry
from quintain.errors import OutputError, RigFileError
from quintain.report.whole_file import write_whole

__all__ = [
    "append_log",
    "earlier_versions",
    "has_newer",
    "log_path",
    "read_log",
    "update_rig",
    "write_log",
]

Change = Mapping[str, Any] | Sequence[Mapping[str, Any]] | str | float


def update_rig(path: str | Path, changes: Mapping[str, Change]) -> Rig:
    """
    Change entries of a rig file, keeping its comments and its earlier version.

    Parameters
    ----------
    path : path
        The rig file.
    changes : mapping
        New entries by name at the top of the file. A mapping is merged into its table, a sequence of
        mappings replaces an array of tables, None as a value removes an entry.

    Returns
    -------
    Rig
        The rig as it now is.

    Raises
    ------
    RigFileError
        If the file cannot be read, or the changed file would not be a valid rig file; nothing is
        written then.
    OutputError
        If the file or its earlier version cannot be written.
    """
    path = Path(path)
    before = Rig.load(path)
    text = path.read_text(encoding="utf-8")
    document = tomlkit.parse(text)
    for name, change in changes.items():
        _apply(document, name, change)
    changed = tomlkit.dumps(document)
    after = Rig.from_toml(changed, origin=str(path))
    if changed == text:
        return after
    kept = _versions_folder(path)
    try:
        kept.mkdir(exist_ok=True)
    except OSError as problem:
        raise OutputError(f"{kept}: cannot keep the earlier version: {problem.strerror}") from None
    write_whole(kept / f"{before.version}.toml", text.encode())
    write_whole(path, changed.encode())
    return after


def earlier_versions(path: str | Path) -> list[Path]:
    """Earlier versions of a rig file, oldest first; each is a whole rig file named by its version."""
    folder = _versions_folder(Path(path))
    return sorted(folder.glob("*.toml"), key=lambda p: p.stat().st_mtime_ns) if folder.is_dir() else []


def log_path(path: str | Path) -> Path:
    """Where the log of a rig lies: beside its file."""
    return Path(path).with_suffix(".log.jsonl")


def append_log(path: str | Path, entry: LogEntry) -> None:
    """
    Add an entry to a rig's log: one line, written whole and flushed to the disk.

    Raises
    ------
    OutputError
        If the log cannot be written.
    """
    target = log_path(path)
    try:
        with target.open("a", encoding="utf-8") as file:
            file.write(_line(entry))
            file.flush()
            os.fsync(file.fileno())
    except OSError as problem:
        raise OutputError(f"{target}: cannot write the rig's log: {problem.strerror}") from None


def write_log(path: str | Path, entries: Sequence[LogEntry]) -> None:
    """
    Write a log anew beside a rig file that has none.

    Raises
    ------
    OutputError
        If the log cannot be written.
    """
    write_whole(log_path(path), "".join(_line(entry) for entry in entries).encode())


def has_newer(path: str | Path, kind: str, when: datetime) -> bool:
    """Whether a rig's log holds newer evidence of a kind; errors as :func:`read_log`."""
    return any(entry.kind == kind and entry.when > when for entry in read_log(path))


def _line(entry: LogEntry) -> str:
    line = json.dumps(
        {
            "when": entry.when.isoformat(),
            "kind": entry.kind,
            "rig_version": entry.rig_version,
            "inputs": list(entry.inputs),
            "values": {name: measured_as_json(m) for name, m in entry.values.items()},
            "verdict": entry.verdict,
            "quintain": entry.quintain,
        },
        ensure_ascii=False,
        allow_nan=False,
    )
    return line + "\n"


def read_log(path: str | Path) -> list[LogEntry]:
    """
    Read a rig's log, oldest first; a rig without one has an empty log.

    Raises
    ------
    RigFileError
        If a line cannot be read. A last line that was cut off while it was written is passed over.
    """
    source = log_path(path)
    if not source.exists():
        return []
    entries = []
    lines = source.read_text(encoding="utf-8").split("\n")
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            entries.append(_entry(json.loads(line)))
        except (ValueError, KeyError, TypeError) as problem:
            if number == len(lines):
                break
            raise RigFileError(
                f"{source}, line {number}: not an entry of a rig's log ({problem}); mend or remove the line"
            ) from None
    return sorted(entries, key=lambda entry: entry.when)


def _entry(row: dict[str, Any]) -> LogEntry:
    return LogEntry(
        when=datetime.fromisoformat(row["when"]),
        kind=row["kind"],
        rig_version=row["rig_version"],
        inputs=tuple(row["inputs"]),
        values={name: Measured(name, q["value"], q["u"]) for name, q in row["values"].items()},
        verdict=row["verdict"],
        quintain=row["quintain"],
    )


def _apply(document: tomlkit.TOMLDocument, name: str, change: Change) -> None:
    if isinstance(change, Mapping):
        if name not in document:
            document[name] = tomlkit.table()
        table: Any = document[name]
        for key, value in change.items():
            if value is None:
                table.pop(key, None)
            else:
                table[key] = _plain(value)
    elif isinstance(change, Sequence) and not isinstance(change, str):
        array = tomlkit.aot()
        for row in change:
            table = tomlkit.table()
            for key, value in row.items():
                if value is not None:
                    table[key] = _plain(value)
            array.append(table)
        document[name] = array
    else:
        document[name] = change


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        table = tomlkit.table()
        for key, entry in value.items():
            if entry is not None:
                table[key] = _plain(entry)
        return table
    if isinstance(value, tuple):
        return list(value)
    return value if isinstance(value, str | int | float | bool | date | list) else float(value)


def _versions_folder(path: Path) -> Path:
    return path.with_suffix(".versions")
