"""What tells one state of a file from another, so that nobody reads half of two recordings."""

from __future__ import annotations

import hashlib
import os
import stat
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from quintain.errors import RecordingError

__all__ = ["Fingerprint", "read_head", "take_fingerprint"]

_PIECE = 1 << 22


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """Path, size and time of change of a file as it was when it was first read."""

    path: Path
    n_bytes: int
    changed: int
    """Time of last change. [ns]"""

    def digest(self) -> str:
        """
        SHA-256 of the file's bytes; computed once.

        Raises
        ------
        RecordingError
            If the file changed since it was first read, or changes meanwhile.
        """
        self.check_unchanged()
        found = _hash(self.path, self.n_bytes, self.changed)
        self.check_unchanged()
        return found

    def check_unchanged(self) -> None:
        """
        Refuse to go on with a file that is no longer the one first read.

        Raises
        ------
        RecordingError
            If the file is gone, or its size or time of change differ.
        """
        try:
            now = self.path.stat()
        except OSError as error:
            raise RecordingError(
                f"{self.path}: the file vanished while it was read ({error.strerror}). "
                "Copy it to a disk that stays connected and read it again."
            ) from None
        if (now.st_size, now.st_mtime_ns) != (self.n_bytes, self.changed):
            raise RecordingError(
                f"{self.path}: the file changed while it was read — it had {self.n_bytes} bytes, now it has "
                f"{now.st_size}. Wait until the acquisition has finished, then read it again."
            )


def take_fingerprint(path: str | os.PathLike[str]) -> Fingerprint:
    """
    Look at a file before it is read.

    Parameters
    ----------
    path : str or path-like
        The file.

    Returns
    -------
    Fingerprint
        Its state now.

    Raises
    ------
    RecordingError
        If the path is no file, may not be read, or is empty.
    """
    path = Path(path)
    before = _look(path)
    try:
        path.open("rb").close()
    except OSError as error:
        raise _cannot_read(path, error) from None
    return Fingerprint(path, before.st_size, before.st_mtime_ns)


@lru_cache(maxsize=64)
def _hash(path: Path, n_bytes: int, changed: int) -> str:
    """Hash of a file in the state that size and time of change tell."""
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while piece := file.read(_PIECE):
                digest.update(piece)
    except OSError as error:
        raise _cannot_read(path, error) from None
    return digest.hexdigest()


def read_head(path: str | os.PathLike[str], n_bytes: int) -> bytes:
    """
    First bytes of a file.

    Raises
    ------
    RecordingError
        If the path is no file, may not be read, or is empty.
    """
    path = Path(path)
    _look(path)
    try:
        with path.open("rb") as file:
            return file.read(n_bytes)
    except OSError as error:
        raise _cannot_read(path, error) from None


def _look(path: Path) -> os.stat_result:
    try:
        found = path.stat()
    except (OSError, ValueError) as error:
        raise _cannot_read(path, error) from None
    if stat.S_ISDIR(found.st_mode):
        raise RecordingError(f"{path}: this is a folder. Give the recording file inside it.")
    if not stat.S_ISREG(found.st_mode):
        raise RecordingError(f"{path}: this is not an ordinary file. Save the recording to a file first.")
    if found.st_size == 0:
        raise RecordingError(f"{path}: the file is empty (0 bytes). Export the recording again.")
    return found


def _cannot_read(path: Path, error: OSError | ValueError) -> RecordingError:
    if isinstance(error, FileNotFoundError):
        return RecordingError(f"{path}: there is no such file. Check the spelling and the folder.")
    if isinstance(error, PermissionError):
        return RecordingError(f"{path}: no permission to read this file. Change its rights or copy it.")
    return RecordingError(f"{path}: the file cannot be read ({error}). Copy it to another disk.")
