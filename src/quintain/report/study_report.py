"""The report of a study, for whoever reviews it."""

from __future__ import annotations

from pathlib import Path

from quintain.report.page import render
from quintain.report.study_content import study_content
from quintain.report.typeset import typeset
from quintain.report.whole_file import write_whole
from quintain.study.answers import StudyResult

__all__ = ["write_study_html", "write_study_pdf"]


def write_study_html(result: StudyResult, path: str | Path, *, invented: bool) -> Path:
    """
    Write the report as one HTML file; the same study gives the same bytes.

    Raises
    ------
    OutputError
        If the file cannot be written; it is replaced whole or not at all.
    """
    content = study_content(result, invented=invented)
    return write_whole(path, render("sections.html", content).encode("utf-8"))


def write_study_pdf(result: StudyResult, path: str | Path, *, invented: bool) -> Path:
    """
    Write the report as PDF; the same study gives the same bytes.

    Raises
    ------
    OutputError
        If the file cannot be written; it is replaced whole or not at all.
    """
    return write_whole(path, typeset("sections.typ", study_content(result, invented=invented)))
