"""The report of one recording as one HTML file that needs nothing else."""

from __future__ import annotations

from pathlib import Path

from quintain.domain.analysis import Analysis
from quintain.report.page import render
from quintain.report.strikes_content import strikes_content
from quintain.report.whole_file import write_whole

__all__ = ["write_strikes_html"]


def write_strikes_html(analysis: Analysis, path: str | Path, *, invented: bool) -> Path:
    """
    Write the report; the same analysis gives the same bytes.

    Parameters
    ----------
    analysis : Analysis
        Finished.
    path : str or Path
        Where to; replaced whole or not at all.
    invented : bool
        Whether the data are invented; the report then says so.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    page = render("strikes.html", strikes_content(analysis, invented=invented))
    return write_whole(path, page.encode("utf-8"))
