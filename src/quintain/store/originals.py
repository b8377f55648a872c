"""Original bytes under their SHA-256: stored once, whole or not at all, never altered."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

from quintain.errors import LabError

__all__ = ["Originals"]

CHUNK = 1 << 20


class Originals:
    """
    A folder of originals.

    Parameters
    ----------
    folder : path
        Files lie in it by the first two digits of their hash and carry their suffix, by which some
        formats are told.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def put(self, source: str | Path) -> tuple[str, bool]:
        """
        Store the bytes of a file.

        Returns
        -------
        sha256 : str
            Hash of the bytes.
        new : bool
            False if the same bytes were there already.

        Raises
        ------
        LabError
            If the file cannot be read or stored; nothing half is left then.
        """
        source = Path(source)
        name = ""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(prefix="incoming.", suffix=".part", dir=self.folder)
            digest = hashlib.sha256()
            with open(source, "rb") as origin, os.fdopen(handle, "wb") as copy:
                while block := origin.read(CHUNK):
                    digest.update(block)
                    copy.write(block)
                copy.flush()
                os.fsync(copy.fileno())
            sha256 = digest.hexdigest()
            place = self._place(sha256, source.suffix)
            if self.find(sha256) is not None:
                return sha256, False
            place.parent.mkdir(exist_ok=True)
            os.chmod(name, 0o444)
            os.replace(name, place)
            return sha256, True
        except OSError as problem:
            raise LabError(f"{source}: cannot be stored in the lab: {problem.strerror}") from None
        finally:
            if name:
                Path(name).unlink(missing_ok=True)

    def find(self, sha256: str) -> Path | None:
        """Where the bytes lie, or None."""
        found = sorted((self.folder / sha256[:2]).glob(f"{sha256}*"))
        return found[0] if found else None

    def path(self, sha256: str) -> Path:
        """
        Where the bytes lie.

        Raises
        ------
        LabError
            If they are not there.
        """
        found = self.find(sha256)
        if found is None:
            raise LabError(
                f"{self.folder}: the original {sha256[:12]}… is missing; restore it from a copy, or run "
                "quintain doctor"
            )
        return found

    def _place(self, sha256: str, suffix: str) -> Path:
        return self.folder / sha256[:2] / f"{sha256}{suffix.lower()}"
