"""A package as a folder or as one zip file: written whole or not at all, read without trust."""

from __future__ import annotations

import hashlib
import lzma
import os
import re
import shutil
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import IO, NamedTuple, cast

from quintain.errors import LabError, OutputError

__all__ = ["Reading", "Stored", "Writing", "open_package", "writing_package"]

CHUNK = 1 << 20

_EARLY = (1980, 1, 1, 0, 0, 0)
"""Time of every member of a zip, so that the same content gives the same bytes."""

_DAMAGED = (
    OSError, EOFError, KeyError, RuntimeError, NotImplementedError, zipfile.BadZipFile, zlib.error,
    lzma.LZMAError,
)  # fmt: skip
"""What reading a damaged or strange zip raises."""

_STEP = r"[^\\/:*?\"<>|\x00-\x1f]*[^\\/:*?\"<>|\x00-\x1f. ]"
_SAFE = re.compile(f"{_STEP}(/{_STEP})*")


class Stored(NamedTuple):
    """A file of a package."""

    path: str
    n_bytes: int
    sha256: str


class Writing:
    """A package under way."""

    def __init__(self, folder: Path | None, archive: zipfile.ZipFile | None) -> None:
        self._folder = folder
        self._archive = archive

    def add(self, path: str, parts: Iterable[bytes], *, compress: bool = True) -> Stored:
        """Write a file from its parts."""
        digest, n = hashlib.sha256(), 0
        with self._open(path, compress) as file:
            for part in parts:
                digest.update(part)
                n += len(part)
                file.write(part)
        return Stored(path, n, digest.hexdigest())

    def _open(self, path: str, compress: bool) -> AbstractContextManager[IO[bytes]]:
        if self._archive is not None:
            told = zipfile.ZipInfo(path, _EARLY)
            told.compress_type = zipfile.ZIP_DEFLATED if compress else zipfile.ZIP_STORED
            told.external_attr = 0o644 << 16
            return self._archive.open(told, "w", force_zip64=True)
        place = cast(Path, self._folder) / path
        place.parent.mkdir(parents=True, exist_ok=True)
        return place.open("wb")


@contextmanager
def writing_package(to: Path) -> Iterator[Writing]:
    """
    Write a package beside its place and move it there.

    Parameters
    ----------
    to : path
        A file ending ``.zip``, or a folder that is not there or empty.

    Raises
    ------
    OutputError
        If the folder holds something, or nothing can be written there.
    """
    zipped = to.suffix.lower() == ".zip"
    if not zipped and to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise OutputError(f"{to}: something is there already; name a new folder for the package")
    part: Path | None = None
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=f".{to.name}.", suffix=".part", dir=to.parent))
        if zipped:
            with zipfile.ZipFile(part / "package.zip", "w") as archive:
                yield Writing(None, archive)
            os.replace(part / "package.zip", to)
        else:
            yield Writing(part, None)
            os.chmod(part, 0o755)
            if to.exists():
                to.rmdir()
            os.replace(part, to)
    except OSError as problem:
        raise OutputError(f"{to}: the package cannot be written: {problem.strerror}") from None
    finally:
        if part is not None:
            shutil.rmtree(part, ignore_errors=True)


class Reading:
    """A package to read; nothing in it is trusted."""

    def __init__(self, place: Path, archive: zipfile.ZipFile | None, sizes: dict[str, int]) -> None:
        self.place = place
        self.sizes = sizes
        self._archive = archive

    def open(self, path: str) -> IO[bytes]:
        """Open a file of the package."""
        if self._archive is not None:
            return self._archive.open(path)
        return (self.place / path).open("rb")

    def check(self, told: Stored) -> None:
        """
        Read a file whole and compare size and hash with what is told of it.

        Raises
        ------
        LabError
            If they differ; no more than the told size is ever unpacked.
        """
        digest, left = hashlib.sha256(), told.n_bytes
        try:
            with self.open(told.path) as file:
                while part := file.read(min(CHUNK, left + 1)):
                    left -= len(part)
                    if left < 0:
                        break
                    digest.update(part)
        except _DAMAGED as problem:
            raise LabError(f"{self.place}: {told.path} cannot be read ({problem}); fetch it again") from None
        if left or digest.hexdigest() != told.sha256:
            raise LabError(
                f"{self.place}: {told.path} is not what the package tells of it: expected "
                f"{told.n_bytes} bytes with SHA-256 {told.sha256[:12]}…; fetch it again"
            )


@contextmanager
def open_package(place: Path) -> Iterator[Reading]:
    """
    Open a package.

    Raises
    ------
    LabError
        If it is no package, is damaged, or holds a path that leads outside, twice, or nowhere.
    """
    if place.is_dir():
        sizes = {}
        for path in sorted(place.rglob("*")):
            if path.is_symlink():
                raise LabError(f"{place}: {path.name} is a link, which a package does not hold")
            if path.is_file():
                sizes[path.relative_to(place).as_posix()] = path.stat().st_size
        _refuse_outside(place, list(sizes))
        yield Reading(place, None, sizes)
        return
    try:
        archive = zipfile.ZipFile(place)
    except (OSError, zipfile.BadZipFile) as problem:
        raise LabError(f"{place}: no package: expected a folder or a zip file ({problem})") from None
    with archive:
        members = [member for member in archive.infolist() if not member.is_dir()]
        for member in members:
            if stat.S_ISLNK(member.external_attr >> 16):
                raise LabError(f"{place}: {member.filename!r} is a link, which a package does not hold")
        _refuse_outside(place, [member.filename for member in members])
        yield Reading(place, archive, {member.filename: member.file_size for member in members})


def _refuse_outside(place: Path, paths: list[str]) -> None:
    seen: set[str] = set()
    for path in paths:
        if not _SAFE.fullmatch(path) or any(step in (".", "..") for step in path.split("/")):
            raise LabError(f"{place}: the package holds the path {path!r}, which a package may not hold")
        if path.casefold() in seen:
            raise LabError(f"{place}: the package holds {path!r} twice")
        seen.add(path.casefold())
