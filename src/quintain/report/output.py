"""A report as a file: one HTML page that needs nothing else, or a PDF."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quintain.report.page import render
from quintain.report.typeset import typeset
from quintain.report.whole_file import write_whole

__all__ = ["write_html", "write_pdf"]


def write_html(template: str, content: Mapping[str, Any], path: str | Path) -> Path:
    """
    Write a report as HTML; the same content gives the same bytes.

    Parameters
    ----------
    template : str
        Name of a kind of page, such as ``sections``; ``templates`` has it for either form.
    content : mapping
        Everything the report says, as words ready to set.
    path : str or Path
        Where to; replaced whole or not at all.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    return write_whole(path, render(f"{template}.html", content).encode("utf-8"))


def write_pdf(template: str, content: Mapping[str, Any], path: str | Path) -> Path:
    """As :func:`write_html`, as PDF."""
    return write_whole(path, typeset(f"{template}.typ", content))
