"""A motion that is not in the lab yet, and the recording it belongs to: looked at, imported, and stated."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quintain.errors import RecordingError, UsageError
from quintain.store.lab import Lab
from quintain.store.originals import hash_of
from quintain.store.schema import Recording
from quintain.tasks.import_recordings import import_recordings
from quintain.tasks.motion_fits import RecordedFile
from quintain.tasks.state_recording import Stated, check_facts, state_recording

__all__ = ["bring_motion"]


def bring_motion(
    lab: Lab,
    recording: str,
    path: str | Path,
    facts: Mapping[str, str],
    *,
    reading: Mapping[str, Any] | None = None,
    changes: int | None = None,
    who: str,
) -> Stated:
    """
    Import a motion and state it, with other facts, of a recording of the lab.

    Parameters
    ----------
    lab : Lab
        The lab.
    recording : str
        The recording of the strikes.
    path : path
        File of the motion; what is said of the strikes is said of it as well.
    facts : mapping of str to str
        Others than the motion, as for :func:`~quintain.tasks.state_recording.state_recording`.
    reading : mapping, optional
        What the file does not say itself.
    changes, who
        As there.

    Returns
    -------
    Stated
        The recording of the strikes.

    Raises
    ------
    QuintainError
        As there, before the file comes into the lab; if somebody else states something in that moment, it
        stays.
    UsageError
        If the lab has the file already and reads it otherwise.
    RecordingError
        If it cannot be read.
    """
    if facts.get("motion"):
        raise UsageError("name the motion once: a file, or a recording of the lab")
    path = Path(path)
    try:
        sha256 = hash_of(path)
    except OSError as problem:
        raise RecordingError(f"{path}: {problem.strerror}") from None
    told = {**facts, "motion": sha256}
    with lab.reading() as database:
        there = database.get(Recording, sha256)
    if there is not None and reading and lab.originals.settings(there.reading) != dict(reading):
        kept = ", ".join(f"{name}={value}" for name, value in there.reading.items()) or "no settings"
        raise UsageError(
            f"the lab has the bytes of {path.name} already, and reads them otherwise, with {kept}; how a "
            "recording is read is stated once, when it is imported"
        )
    if there is None or there.gone is not None:
        outside = RecordedFile(path, path.name, dict(reading or {}))
        _, new = check_facts(lab, recording, told, changes=changes, motion=outside)
        (file,) = import_recordings(
            lab, [path], kind="motion", session=new["session"] or None, rig=new["rig"] or None,
            motion_reading=reading, who=who,
        ).files  # fmt: skip
        if file.state == "refused":
            raise RecordingError(file.reason)
        same = {name: new[name] for name in ("person", "type", "side")}
        state_recording(lab, sha256, same, who=who)
    return state_recording(lab, recording, told, changes=changes, who=who)
