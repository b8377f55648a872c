"""The report of one person: what changed beyond error, own strikes by session, left against right."""

from __future__ import annotations

from pathlib import Path

from quintain.report.page import render
from quintain.report.person_content import person_content
from quintain.report.typeset import typeset
from quintain.report.whole_file import write_whole
from quintain.study.person_course import PersonSummary

__all__ = ["write_person_html", "write_person_pdf"]


def write_person_html(summary: PersonSummary, path: str | Path, *, invented: bool) -> Path:
    """
    Write the report as one HTML file; the same summary gives the same bytes.

    Raises
    ------
    OutputError
        If the file cannot be written; it is replaced whole or not at all.
    """
    content = person_content(summary, invented=invented)
    return write_whole(path, render("person.html", content).encode("utf-8"))


def write_person_pdf(summary: PersonSummary, path: str | Path, *, invented: bool) -> Path:
    """
    Write the report as PDF; the same summary gives the same bytes.

    Raises
    ------
    OutputError
        If the file cannot be written; it is replaced whole or not at all.
    """
    return write_whole(path, typeset("person.typ", person_content(summary, invented=invented)))
