"""Files on their way in: streamed to a temporary place, counted, hashed, and never named by their sender."""

from __future__ import annotations

import hashlib
import re
import shutil
import tempfile
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, BinaryIO

from python_multipart.exceptions import MultipartParseError
from python_multipart.multipart import MultipartParser, parse_options_header
from starlette.exceptions import HTTPException
from starlette.requests import Request

__all__ = ["Form", "Received", "receive_upload"]

_FIELD = 1 << 16
"""Bytes of one field that is no file."""

_MOST_FIELDS = 200
_HEADER = 4096
_SUFFIX = re.compile(r"\.[A-Za-z0-9]{1,8}\Z")


@dataclass(frozen=True, slots=True)
class Received:
    """
    One file.

    ``name`` is what its sender calls it, for people to read only; ``path`` is ours and is gone when the
    request ends, unless it was moved.
    """

    name: str
    path: Path
    n_bytes: int
    sha256: str
    field: str = ""
    """Name of the form's field that it came in."""


@dataclass(slots=True)
class Form:
    """A form with files."""

    fields: dict[str, str] = field(default_factory=dict)
    files: list[Received] = field(default_factory=list)


@asynccontextmanager
async def receive_upload(
    request: Request, folder: Path, *, limit: int, most_files: int = 100
) -> AsyncIterator[Form]:
    """
    Take a form with files from its stream.

    Parameters
    ----------
    request : Request
        Nothing of its body was read: the endpoint declares no ``Form`` or ``File``.
    folder : Path
        Where to put the files, on the disk they will stay on.
    limit : int
        Bytes of the whole request, counted as they arrive.
    most_files : int
        Files in one form.

    Raises
    ------
    HTTPException
        413 beyond the limit, 400 where the form is damaged or cut off; nothing is left.
    """
    kind, options = parse_options_header(request.headers.get("content-type"))
    if kind != b"multipart/form-data" or b"boundary" not in options:
        raise HTTPException(400, "Files are sent as a form, multipart/form-data.")
    request.state.body.limit = limit
    folder.mkdir(parents=True, exist_ok=True)
    place = Path(tempfile.mkdtemp(prefix="incoming-", dir=folder))
    taker = _Taker(place, most_files)
    try:
        parser = MultipartParser(options[b"boundary"], taker.callbacks())
        try:
            async for chunk in request.stream():
                parser.write(chunk)
            parser.finalize()
        except MultipartParseError:
            raise HTTPException(400, "The form is damaged; nothing was kept.") from None
        if not taker.ended:
            raise HTTPException(400, "The form was cut off on its way; nothing was kept.")
        yield taker.form
    finally:
        taker.close()
        shutil.rmtree(place, ignore_errors=True)


class _Taker:
    """Puts the parts of a form where they belong, piece by piece."""

    def __init__(self, place: Path, most_files: int) -> None:
        self.form = Form()
        self.ended = False
        self._place, self._most_files = place, most_files
        self._header: list[bytes] = [b"", b""]
        self._disposition = b""
        self._file: BinaryIO | None = None
        self._begin()

    def _begin(self) -> None:
        self._disposition = b""
        self._name, self._called = "", ""
        self._small = bytearray()
        self._size, self._hash = 0, hashlib.sha256()

    def callbacks(self) -> Any:
        """What the parser calls."""
        return {
            "on_part_begin": self._begin,
            "on_header_field": lambda data, a, b: self._head(0, data[a:b]),
            "on_header_value": lambda data, a, b: self._head(1, data[a:b]),
            "on_header_end": self._header_end,
            "on_headers_finished": self._open,
            "on_part_data": lambda data, a, b: self._data(data[a:b]),
            "on_part_end": self._part_end,
            "on_end": self._end,
        }

    def _head(self, which: int, data: bytes) -> None:
        self._header[which] += data
        if len(self._header[which]) > _HEADER:
            raise HTTPException(400, "The head of a part of the form is too long.")

    def _header_end(self) -> None:
        if self._header[0].lower() == b"content-disposition":
            self._disposition = self._header[1]
        self._header = [b"", b""]

    def _open(self) -> None:
        _, options = parse_options_header(self._disposition)
        self._name = options.get(b"name", b"").decode("utf-8", "replace")
        if b"filename" not in options:
            if len(self.form.fields) >= _MOST_FIELDS:
                raise HTTPException(400, f"More than {_MOST_FIELDS} fields arrived.")
            return
        if len(self.form.files) >= self._most_files:
            raise HTTPException(413, f"More than {self._most_files} files arrived; send them in parts.")
        said = options[b"filename"].decode("utf-8", "replace")
        base = PureWindowsPath(PurePosixPath(said).name).name
        self._called = "".join(c for c in base if c.isprintable())[:120] or "unnamed"
        suffix = _SUFFIX.search(self._called)
        name = f"{len(self.form.files):04d}{suffix[0].lower() if suffix else ''}"
        self._file = open(self._place / name, "wb")  # noqa: SIM115, closed at the part's end
        self._path = self._place / name

    def _data(self, data: bytes) -> None:
        if self._file is None:
            self._small += data
            if len(self._small) > _FIELD:
                raise HTTPException(413, f"The field {self._name[:40]!r} is too long.")
            return
        self._file.write(data)
        self._hash.update(data)
        self._size += len(data)

    def _part_end(self) -> None:
        if self._file is None:
            self.form.fields[self._name] = self._small.decode("utf-8", "replace")
            return
        self.close()
        if self._size or self._called != "unnamed":  # an empty file field sends an empty, unnamed file
            sha256 = self._hash.hexdigest()
            self.form.files.append(Received(self._called, self._path, self._size, sha256, self._name))

    def _end(self) -> None:
        self.ended = True

    def close(self) -> None:
        """Let go of an open file."""
        if self._file is not None:
            self._file.close()
            self._file = None
