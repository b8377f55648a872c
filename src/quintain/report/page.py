"""HTML pages from templates: everything inside one file, every word escaped."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from quintain.report.figures.style import CHART_RULES, MARKS, page_colours

__all__ = ["render"]


@cache
def _environment() -> Any:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("quintain.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def render(template: str, content: Mapping[str, Any]) -> str:
    """Fill a template of the package with content; style and shapes come with it."""
    rules = files("quintain.report").joinpath("templates/report.css").read_text(encoding="utf-8")
    style = page_colours() + rules + CHART_RULES
    return str(_environment().get_template(template).render(content, style=style, marks=MARKS))
