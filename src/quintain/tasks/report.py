"""Write the report of an analysis."""

from __future__ import annotations

from pathlib import Path

from quintain.domain.analysis import Analysis
from quintain.errors import UsageError

__all__ = ["write_reports"]


def write_reports(analysis: Analysis, folder: str | Path, *, invented: bool = False) -> list[Path]:
    """
    Write the report of one recording as HTML and as PDF.

    Parameters
    ----------
    analysis : Analysis
        Finished results.
    folder : path
        Made if it is not there.
    invented : bool
        Whether the data are invented, which the report then says on every page.

    Returns
    -------
    list of Path
        The HTML file and the PDF file.

    Raises
    ------
    UsageError
        If the folder cannot be written to.
    """
    from quintain.report.strikes_html import write_strikes_html
    from quintain.report.strikes_pdf import write_strikes_pdf

    folder = Path(folder)
    stem = Path(analysis.path).stem or "recording"
    html, pdf = folder / f"{stem}.report.html", folder / f"{stem}.report.pdf"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_strikes_html(analysis, html, invented=invented)
        write_strikes_pdf(analysis, pdf, invented=invented)
    except OSError as problem:
        raise UsageError(f"{folder}: cannot write the report there: {problem.strerror}") from None
    return [html, pdf]
