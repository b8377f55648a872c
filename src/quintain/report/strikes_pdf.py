"""The report of one recording as PDF."""

from __future__ import annotations

from pathlib import Path

from quintain.domain.analysis import Analysis
from quintain.report.strikes_content import strikes_content
from quintain.report.typeset import typeset
from quintain.report.whole_file import write_whole

__all__ = ["write_strikes_pdf"]

FIGURE_HEIGHT = 216
"""Lets two strikes stand on one page of A4. [px]"""


def write_strikes_pdf(analysis: Analysis, path: str | Path, *, invented: bool) -> Path:
    """
    Write the report; the same analysis gives the same bytes.

    Parameters
    ----------
    analysis : Analysis
        Finished.
    path : str or Path
        Where to; replaced whole or not at all.
    invented : bool
        Whether the data are invented; every page then says so.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    content = strikes_content(analysis, invented=invented, figure_height=FIGURE_HEIGHT)
    return write_whole(path, typeset("strikes.typ", content))
