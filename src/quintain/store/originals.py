"""
Original bytes under their SHA-256: stored once, whole or not at all, never altered.

Most recordings are one file. Where one is several (a header and a file a channel), they lie together in a
folder under the hash of the header, beside a list of the hashes of all.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from quintain.errors import LabError

try:
    import fcntl
except ImportError:  # no such locks on Windows; what was left there is told by its age
    fcntl = None  # type: ignore[assignment]

__all__ = ["BUNDLE", "LISTING", "Originals", "hash_of", "sync_folder"]

CHUNK = 1 << 20

BUNDLE = ".bundle"
"""What the name of a folder of several files ends in."""

LISTING = "bundle.json"
"""Names and hashes of the files of a bundle."""

_KEPT = "original:"
"""How a setting of a reader names a file that was stored with the recording."""


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

    def put(
        self,
        source: str | Path,
        parts: Sequence[Path] = (),
        *,
        meanwhile: Callable[[], object] = lambda: None,
    ) -> tuple[str, bool]:
        """
        Store the bytes of a file.

        Parameters
        ----------
        source : path
            The file.
        parts : sequence of path
            Further files of the same recording, in the folder of ``source`` or below.
        meanwhile : callable
            Looks at the file while its bytes are copied, in a thread of its own. What it raises is raised,
            and nothing is stored.

        Returns
        -------
        sha256 : str
            Hash of the bytes; of the first file where there are several.
        new : bool
            False if the same bytes were there already.

        Raises
        ------
        LabError
            If the file cannot be read or stored; nothing half is left then.
        """
        source = Path(source)
        with self._explained(source), self._incoming(folder=bool(parts)) as incoming:
            with ThreadPoolExecutor(1) as aside:
                looked = aside.submit(meanwhile)
                sha256 = _copy_bundle(source, parts, incoming) if parts else _copy(source, incoming)
                looked.result()
            name = f"{sha256}{BUNDLE if parts else source.suffix.lower()}"
            known = self.find(sha256)
            if known is not None and _same(known, incoming):
                return sha256, False
            place = self.folder / sha256[:2] / name
            if known is not None and known.parent.suffix == BUNDLE:
                raise LabError(
                    f"{source}: a recording with the same first file but other channels is in the lab; "
                    "a test needs a header of its own"
                )
            if not place.parent.is_dir():
                place.parent.mkdir(exist_ok=True)
                sync_folder(self.folder)
            try:
                os.replace(incoming, place)
            except OSError as problem:  # somebody stored the same folder in the meantime
                if problem.errno not in (errno.ENOTEMPTY, errno.EEXIST):
                    raise
                return sha256, False
            sync_folder(place.parent)
            return sha256, True

    def find(self, sha256: str) -> Path | None:
        """Where the bytes lie, or None; of several files the first."""
        found = sorted((self.folder / sha256[:2]).glob(f"{sha256}*"))
        if not found:
            return None
        return found[0] / _listing(found[0])["first"] if found[0].suffix == BUNDLE else found[0]

    def path(self, sha256: str) -> Path:
        """
        Where the bytes lie; of several files the first.

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

    def keep_settings(self, settings: Mapping[str, Any]) -> dict[str, Any]:
        """Settings of a reader as the lab keeps them: a file among them is stored as well."""
        kept = dict(settings)
        if "layout" in kept:
            kept["layout"] = _KEPT + self.put(kept["layout"])[0]
        return kept

    def settings(self, reading: Mapping[str, Any]) -> dict[str, Any]:
        """
        Settings with which to read a recording of the lab, from its ``reading``.

        Examples
        --------
        >>> Originals(Path("lab/recordings")).settings({"units": "N"})
        {'units': 'N'}
        """
        return {
            name: self.path(value.removeprefix(_KEPT)) if str(value).startswith(_KEPT) else value
            for name, value in reading.items()
        }

    def entries(self) -> Iterator[tuple[str, Path]]:
        """Hash and place of everything that is stored, in the order of the hashes."""
        for shelf in sorted(self.folder.glob("[0-9a-f][0-9a-f]")):
            for place in sorted(shelf.iterdir()):
                yield place.name[:64], place

    def broken(self, sha256: str, place: Path) -> str:
        """What is wrong with the bytes at a place; empty if they are what they were."""
        try:
            if place.suffix != BUNDLE:
                return "" if hash_of(place) == sha256 else "its bytes are not what they were"
            listing = _listing(place)
            if listing["files"].get(listing["first"]) != sha256:
                return "its list of files is not that of the recording"
            for name, wanted in listing["files"].items():
                if hash_of(place / name) != wanted:
                    return f"the bytes of {name} are not what they were"
        except OSError as problem:
            return f"it cannot be read ({problem.strerror})"
        except (ValueError, KeyError, AttributeError):
            return "its list of files is damaged"
        return ""

    def left_behind(self) -> list[Path]:
        """What processes that ended in the middle left; not what one is storing just now."""
        return [part for part in sorted(self.folder.glob("incoming.*.part")) if not _held(part)]

    @contextmanager
    def _incoming(self, *, folder: bool) -> Iterator[Path]:
        """A place that is not visible yet, and is taken away if it is left."""
        self.folder.mkdir(parents=True, exist_ok=True)
        if folder:
            place = Path(tempfile.mkdtemp(prefix="incoming.", suffix=".part", dir=self.folder))
            handle = os.open(place, os.O_RDONLY) if fcntl else -1
        else:
            handle, name = tempfile.mkstemp(prefix="incoming.", suffix=".part", dir=self.folder)
            place = Path(name)
        try:
            if fcntl:
                fcntl.flock(handle, fcntl.LOCK_EX)
            yield place
        finally:
            if handle >= 0:
                os.close(handle)
            shutil.rmtree(place, ignore_errors=True) if folder else place.unlink(missing_ok=True)

    @contextmanager
    def _explained(self, source: Path) -> Iterator[None]:
        try:
            yield
        except OSError as problem:
            if problem.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
                why = "the disk of the lab is full; make room and repeat it"
            elif problem.errno == errno.EROFS:
                why = "the lab may not be written to"
            else:
                why = problem.strerror or str(problem)
            raise LabError(f"{source}: cannot be stored in the lab: {why}") from None


def hash_of(path: Path) -> str:
    """SHA-256 of a file."""
    with open(path, "rb", buffering=0) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def sync_folder(folder: Path) -> None:
    """See that what was renamed in a folder is on the disk; Windows does so by itself."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _copy(source: Path, target: Path) -> str:
    """Copy a file to the disk itself, read-only; return the hash of what was copied."""
    digest = hashlib.sha256()
    with open(source, "rb", buffering=0) as origin, open(target, "wb", buffering=0) as copy:
        while block := origin.read(CHUNK):
            digest.update(block)
            left = memoryview(block)
            while left:
                left = left[copy.write(left) :]
        os.fsync(copy.fileno())
    os.chmod(target, 0o444)
    return digest.hexdigest()


def _copy_bundle(source: Path, parts: Sequence[Path], target: Path) -> str:
    hashes = {}
    for file in (source, *parts):
        name = file.relative_to(source.parent)
        (target / name).parent.mkdir(parents=True, exist_ok=True)
        hashes[name.as_posix()] = _copy(file, target / name)
    listing = target / LISTING
    with open(listing, "w", encoding="utf-8") as text:
        json.dump({"first": source.name, "files": hashes}, text, indent=1)
        text.flush()
        os.fsync(text.fileno())
    for folder in {(target / name).parent for name in hashes} | {target}:
        sync_folder(folder)
    return hashes[source.name]


def _listing(bundle: Path) -> dict[str, Any]:
    return dict(json.loads((bundle / LISTING).read_text(encoding="utf-8")))


def _same(known: Path, incoming: Path) -> bool:
    """Whether what is stored is what comes in: same hash, so that sizes tell of damage."""
    if incoming.is_dir():
        return known.parent.suffix == BUNDLE and _listing(known.parent) == _listing(incoming)
    return known.parent.suffix != BUNDLE and known.stat().st_size == incoming.stat().st_size


def _held(part: Path) -> bool:
    """Whether a living process holds it."""
    if not fcntl:
        import time

        return time.time() - part.stat().st_mtime < 24 * 3600
    try:
        handle = os.open(part, os.O_RDONLY)
    except OSError:
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(handle)
    return False
