"""Rows as they may leave the lab: nobody is named."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePosixPath
from typing import Any

from quintain.store.export.lab_tables import Row

__all__ = ["Redaction"]

_TELLING = frozenset(
    {
        "state", "type", "side", "series", "trial", "reason", "position", "start", "block", "count", "seed",
        "person", "person_id", "session", "session_id", "code", "kind", "family", "rig", "rig_version",
        "method", "motion", "analysis", "quintain", "output", "found_again", "new", "gone", "result", "plan",
        "sha256", "tables", "version",
    }
)  # fmt: skip
"""What the audit keeps of a change: facts of the work, none that could name somebody."""

_OWN = ("make lab", "import package")
"""Entries that a lab makes of itself."""


class Redaction:
    """
    Takes out of rows what identifies.

    Parameters
    ----------
    names : mapping of str to str
        File name of each recording by hash; by it recordings are called by their order instead.
    notes : bool
        Whether free notes stay.
    file_names : bool
        Whether names of files stay.
    """

    def __init__(self, names: Mapping[str, str], *, notes: bool, file_names: bool) -> None:
        self._notes = notes
        order = sorted(names, key=lambda sha256: (names[sha256], sha256))
        self._name = {
            sha256: names[sha256] if file_names else f"recording-{i:06d}{PurePosixPath(names[sha256]).suffix}"
            for i, sha256 in enumerate(order, 1)
        }
        self._who: dict[str, str] = {}

    def row(self, table: str, row: Row) -> Row | None:
        """The row without what identifies; None if nothing is left to tell."""
        if table in ("person", "session", "strike") and not self._notes:
            row["note"] = ""
        elif table == "recording":
            row["name"] = self._name[row["sha256"]]
        elif table == "evidence":
            row["answer"] = _without_paths(row["answer"])
        elif table == "audit":
            if row["action"] in _OWN:
                return None
            if row["who"] not in ("", "quintain"):
                row["who"] = self._who.setdefault(row["who"], f"user {len(self._who) + 1}")
            row["before"], row["after"] = _telling(row["before"]), _telling(row["after"])
        return row


def _telling(told: dict[str, Any] | None) -> dict[str, Any] | None:
    return None if told is None else {key: value for key, value in told.items() if key in _TELLING}


def _without_paths(told: Any) -> Any:
    if isinstance(told, dict):
        return {key: "" if key == "path" else _without_paths(value) for key, value in told.items()}
    return [_without_paths(value) for value in told] if isinstance(told, list) else told
