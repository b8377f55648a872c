"""Auto, light or dark: kept in a cookie, so that the first paint is right."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from quintain.web.local_path import local_path

__all__ = ["router", "theme_of"]

_COOKIE = "quintain-theme"
_THEMES = ("auto", "light", "dark")

router = APIRouter(include_in_schema=False)


def theme_of(request: Request) -> str:
    """The theme a visitor chose."""
    chosen = request.cookies.get(_COOKIE, "auto")
    return chosen if chosen in _THEMES else "auto"


@router.post("/theme")
def choose_theme(
    request: Request, theme: Annotated[str, Form()], next: Annotated[str, Form()] = "/"
) -> Response:
    """Keep a theme and go back to the page."""
    answer = RedirectResponse(local_path(next), 303)
    if theme in _THEMES:
        answer.set_cookie(
            _COOKIE, theme, max_age=365 * 86400, httponly=True, samesite="lax",
            secure=request.url.scheme == "https",
        )  # fmt: skip
    return answer
