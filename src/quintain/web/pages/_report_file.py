"""A report as a file to keep, or shown in the browser under a policy of its own."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

from fastapi import HTTPException
from starlette.responses import Response

from quintain.web.security.headers import REPORT_POLICY

__all__ = ["report_file"]

_TYPES = {"html": "text/html; charset=utf-8", "pdf": "application/pdf"}


def report_file(write: Callable[[Path], list[Path]], kind: str, *, show: bool = False) -> Response:
    """
    Answer with one of the files that a report is written as.

    Parameters
    ----------
    write : callable
        Writes the report into a folder and gives the paths.
    kind : str
        ``html`` or ``pdf``.
    show : bool
        Whether the browser shows the page instead of keeping it; a PDF is always kept.

    Raises
    ------
    HTTPException
        404 for another kind.
    """
    if kind not in _TYPES:
        raise HTTPException(404, "A report is made as html and as pdf.")
    with tempfile.TemporaryDirectory() as folder:
        path = next(path for path in write(Path(folder)) if path.suffix == f".{kind}")
        content, name = path.read_bytes(), path.name
    if show and kind == "html":
        return Response(content, headers={"Content-Security-Policy": REPORT_POLICY}, media_type=_TYPES[kind])
    headers = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    return Response(content, headers=headers, media_type=_TYPES[kind])
