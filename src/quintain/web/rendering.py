"""From a template to a page: what every template may use."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse

from quintain.domain.flags import FLAGS
from quintain.quantities import GLOSSARY
from quintain.report.rounding import number, rounded, shown
from quintain.report.verdict import UNSAFE
from quintain.tasks.speed_table import speeds_in_words
from quintain.version import __version__
from quintain.web.current import lab_label
from quintain.web.dense_cells import cells
from quintain.web.navigation import is_here
from quintain.web.security.roles import Role
from quintain.web.sentence import as_sentence
from quintain.web.static_files import url_of
from quintain.web.symbols import symbol
from quintain.web.theme import theme_of

__all__ = ["environment", "page"]

environment = Environment(
    loader=FileSystemLoader(Path(__file__).parent / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
environment.filters["sentence"] = as_sentence
environment.filters["speeds"] = speeds_in_words
environment.globals |= {
    "static": url_of,
    "shown": shown,
    "rounded": rounded,
    "number": number,
    "symbol": symbol,
    "cells": cells,
    "glossary": GLOSSARY,
    "flag_meanings": FLAGS,
    "unsafe_flags": UNSAFE,
    "version": __version__,
    "Role": Role,
}


def page(request: Request, template: str, *, status: int = 200, **context: Any) -> HTMLResponse:
    """
    Fill a template.

    Besides ``context`` a template knows ``request``, ``visitor`` (None before signing in), ``may(word)``,
    ``csrf`` and ``csrf_field``, ``theme``, ``navigation``, ``lab`` (name, invented) and the globals
    above.
    """
    visitor = getattr(request.state, "visitor", None)
    token = request.app.state.door.csrf.token(request.state.bond)
    known = {
        "request": request,
        "visitor": visitor,
        "may": lambda word: visitor is not None and visitor.role >= Role[word.upper()],
        "csrf": token,
        "csrf_field": Markup('<input type="hidden" name="csrf" value="{}">').format(token),
        "theme": theme_of(request),
        "here": request.url.path + (f"?{request.url.query}" if request.url.query else ""),
        "navigation": [(n, is_here(n, request.url.path)) for n in request.app.state.navigation]
        if visitor is not None
        else [],
        "lab": lab_label(request) if visitor is not None else None,
        "signs_in": request.app.state.door.access is not None,
    }
    return HTMLResponse(environment.get_template(template).render(known | context), status)
