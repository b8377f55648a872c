"""Errors as pages in words, with what to do next; never a trace."""

from __future__ import annotations

import logging

from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response

from quintain.errors import ConflictError, LabError, MissingError, QuintainError, RecordingError
from quintain.web.rendering import page

_log = logging.getLogger("quintain.web")

__all__ = ["failure", "on_http", "on_invalid", "on_quintain"]

_SENTENCES = {
    400: "The request cannot be understood.",
    401: "You are not signed in.",
    403: "This is not allowed.",
    404: "There is nothing here.",
    405: "This page cannot be asked that way.",
    409: "Somebody else was faster.",
    413: "That is too much at once.",
    422: "Something in the form cannot be used.",
    429: "Too many attempts.",
    500: "Quintain failed.",
    503: "The lab cannot be used.",
}
_NEXT = {
    404: "The address may be mistyped, or what it named was removed. Start again from the overview.",
    405: "Go back and use the buttons of the page.",
}


def failure(request: Request, status: int, words: str = "", *, code: str = "") -> Response:
    """
    An error in the form its asker reads: JSON for the HTTP interface, one line for a part of a page, a page.

    Parameters
    ----------
    request : Request
        What was asked.
    status : int
        HTTP status.
    words : str
        What was wrong and what to do; a bare HTTP phrase is replaced.
    code : str
        Stable code of the error.
    """
    said = _NEXT.get(status, "") if not words or words in ("Not Found", "Method Not Allowed") else words
    sentence = _SENTENCES.get(status, "This did not work.")
    if request.url.path.startswith("/api/"):
        body = {"error": {"status": status, "code": code or "http", "message": said or sentence}}
        return JSONResponse(body, status)
    if "hx-request" in request.headers:
        return PlainTextResponse(said or sentence, status)
    try:
        return page(
            request, "failure.html", status=status, number=status, sentence=sentence, words=said, code=code
        )
    except Exception:  # a page of errors that fails itself still answers in words
        _log.exception("the page of errors failed")
        return PlainTextResponse(f"{sentence} {said}", status)


async def on_http(request: Request, problem: Exception) -> Response:
    """Answer an error raised with a status."""
    assert isinstance(problem, HTTPException)
    answer = failure(request, problem.status_code, str(problem.detail))
    answer.headers.update(problem.headers or {})
    return answer


async def on_invalid(request: Request, problem: Exception) -> Response:
    """Answer a request whose fields cannot be read, naming each."""
    assert isinstance(problem, RequestValidationError)
    faults = [
        f"{'.'.join(str(p) for p in e['loc'][1:]) or e['loc'][0]}: {e['msg']}" for e in problem.errors()
    ]
    return failure(request, 422, "; ".join(faults) + ".", code="usage")


async def on_quintain(request: Request, problem: Exception) -> Response:
    """Answer an error of ours with its own words."""
    assert isinstance(problem, QuintainError)
    if isinstance(problem, ConflictError):
        status = 409
    elif isinstance(problem, MissingError):
        status = 404
    elif isinstance(problem, LabError):
        status = 503
    else:
        status = 422 if isinstance(problem, RecordingError) or problem.exit_code < 3 else 500
    words = str(problem)
    return failure(request, status, words[:1].upper() + words[1:], code=problem.code)
