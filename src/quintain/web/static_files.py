"""
Our own files for the browser, held in memory under the hash of all of them.

A name is looked up in a table that was filled when the server started: no path of a request ever
reaches the file system.
"""

from __future__ import annotations

import gzip
import hashlib
import mimetypes
from functools import cache
from pathlib import Path
from typing import NamedTuple

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import Response

__all__ = ["router", "url_of"]

_FOLDER = Path(__file__).parent / "static"
_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
_WORTH = 512
"""Bytes from which a file is sent compressed."""


class _File(NamedTuple):
    kind: str
    plain: bytes
    packed: bytes | None


class _Tree(NamedTuple):
    digest: str
    files: dict[str, _File]


@cache
def _tree() -> _Tree:
    files, digest = {}, hashlib.sha256()
    for path in sorted(p for p in _FOLDER.rglob("*") if p.is_file()):
        name, plain = path.relative_to(_FOLDER).as_posix(), path.read_bytes()
        digest.update(f"{name}\0{len(plain)}\0".encode() + plain)
        kind = _TYPES.get(path.suffix) or mimetypes.guess_type(name)[0] or "text/plain"
        packed = gzip.compress(plain, mtime=0) if len(plain) >= _WORTH else None
        files[name] = _File(kind, plain, packed)
    return _Tree(digest.hexdigest()[:12], files)


def url_of(name: str) -> str:
    """
    Address of a file; it changes with the content, so a browser may keep it for ever.

    Raises
    ------
    KeyError
        If there is no such file: a page names it wrongly.
    """
    tree = _tree()
    if name not in tree.files:
        raise KeyError(f"no static file {name!r}")
    return f"/static/{tree.digest}/{name}"


router = APIRouter(include_in_schema=False)


@router.get("/static/{digest}/{name:path}")
def static_file(digest: str, name: str, request: Request) -> Response:
    """One file; under another hash than today's it is sent, but not kept."""
    tree = _tree()
    file = tree.files.get(name)
    if file is None:
        raise HTTPException(404)
    headers = {
        "Cache-Control": "public, max-age=31536000, immutable" if digest == tree.digest else "no-cache",
        "Vary": "Accept-Encoding",
    }
    if file.packed is not None and "gzip" in request.headers.get("accept-encoding", ""):
        return Response(file.packed, media_type=file.kind, headers=headers | {"Content-Encoding": "gzip"})
    return Response(file.plain, media_type=file.kind, headers=headers)
