"""A table beside recordings that says who, what and when: one row a file, as CSV or TOML."""

from __future__ import annotations

import csv
import difflib
import io
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quintain.errors import UsageError

__all__ = ["COLUMNS", "SidecarRow", "read_sidecar"]

COLUMNS = {
    "file": "name of the recording, from the table's folder or as it is called",
    "person": "code of the person",
    "type": "type of strike",
    "side": "left or right",
    "session": "code of the session",
    "rig": "name of the rig",
    "kind": "strikes, motion, taps, drops, zero or loads",
    "trial": "a whole number",
    "when": "start, as 2026-11-25T09:30 with or without an offset from UTC",
    "motion": "name of the recording of the limb's motion",
    "offset": "clock of the motion less that of the force, and how far off, in s: 28.9+-0.05",
    "sync": "instead of offset: channel of a pulse in both files, or force's and motion's: sync,trigger",
    "track": "one or three channels of the striking point in the motion, as hx,hy,hz",
    "normal": "direction into the target in the axes of sensor or track, as 1,0,0",
    "speed": "approach speed in m/s with its 95 % uncertainty, as 8.2+-0.2; several by ;, or a table's file",
    "channel": "channel of the force, if there are several",
}
"""What a table may say; ``file`` is needed."""


@dataclass(frozen=True, slots=True)
class SidecarRow:
    """What a row says of a file, by column; empty cells are left out. ``where`` is for messages."""

    where: str
    file: str
    told: dict[str, str]


def read_sidecar(path: str | Path) -> list[SidecarRow]:
    """
    Read a table of recordings.

    Parameters
    ----------
    path : path
        Text with one header row, columns of :data:`COLUMNS` divided by comma, semicolon or tab; or TOML
        with one ``[[recording]]`` each.

    Raises
    ------
    UsageError
        If the file cannot be read, has a column that means nothing, or names a file twice.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        reason = getattr(problem, "strerror", None) or "it is not UTF-8 text"
        raise UsageError(f"{path}: cannot read the table of recordings: {reason}") from None
    entries = _from_toml(path, text) if path.suffix.lower() == ".toml" else _from_text(path, text)
    rows = []
    seen: dict[str, str] = {}
    for where, entry in entries:
        told = {key: value.strip() for key, value in entry.items() if value.strip()}
        file = told.pop("file", "").replace("\\", "/")
        if not file:
            if told:
                raise UsageError(f"{where}: no file is named; write its name under 'file'")
            continue
        if file in seen:
            raise UsageError(f"{where}: {file} is named twice, first in {seen[file]}; keep one row")
        seen[file] = where
        rows.append(SidecarRow(where, file, told))
    if not rows:
        raise UsageError(f"{path}: the table names no recording; it needs a row for each, below a header row")
    return rows


def _check(name: str, where: str) -> str:
    key = name.strip().lower()
    if key not in COLUMNS:
        close = difflib.get_close_matches(key, COLUMNS, n=1)
        hint = f"did you mean {close[0]!r}?" if close else f"there are: {', '.join(COLUMNS)}"
        raise UsageError(f"{where}: the column {name!r} means nothing here; {hint}")
    return key


def _from_text(path: Path, text: str) -> list[tuple[str, dict[str, str]]]:
    head = text.partition("\n")[0]
    mark = max(",;\t", key=head.count)
    rows = csv.reader(io.StringIO(text), delimiter=mark)
    names: list[str] = []
    entries = []
    try:
        for cells in rows:
            where = f"{path}, line {rows.line_num}"
            if not any(cell.strip() for cell in cells):
                continue
            if not names:
                names = [_check(name, where) for name in cells]
                if "file" not in names or len(set(names)) < len(names):
                    raise UsageError(f"{where}: expected one column 'file' and others once, got {cells}")
                continue
            if len(cells) > len(names) and any(cell.strip() for cell in cells[len(names) :]):
                raise UsageError(
                    f"{where}: {len(cells)} cells, but the header has {len(names)}; put cells that hold "
                    f"{mark!r} in quotes"
                )
            entries.append((where, dict(zip(names, cells, strict=False))))
    except csv.Error as problem:
        raise UsageError(f"{path}, line {rows.line_num}: no table ({problem}); export it again") from None
    return entries


def _from_toml(path: Path, text: str) -> list[tuple[str, dict[str, str]]]:
    try:
        found: Any = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise UsageError(f"{path}: not valid TOML: {problem}; mend that line") from None
    listed = found.pop("recording", None)
    if found or not isinstance(listed, list) or not all(isinstance(entry, dict) for entry in listed):
        raise UsageError(f"{path}: expected nothing but tables [[recording]], one for each file")
    entries = []
    for i, entry in enumerate(listed, 1):
        where = f"{path}, recording {i}"
        cells = {}
        for name, value in entry.items():
            if isinstance(value, dict | list | bool):
                raise UsageError(f"{where}: {name}: expected text or a number, got {value!r}")
            cells[_check(name, where)] = value.isoformat() if hasattr(value, "isoformat") else str(value)
        entries.append((where, cells))
    return entries
