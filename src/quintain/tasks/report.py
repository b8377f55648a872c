"""Write the report of an analysis, of a test of the rig, or of the rig itself."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from quintain.domain.analysis import Analysis
from quintain.domain.calibration import StaticCalibration
from quintain.domain.drop import DropTest
from quintain.domain.rig_state import RigState
from quintain.domain.session_summary import SessionSummary
from quintain.domain.tap import TapTest
from quintain.errors import UsageError

if TYPE_CHECKING:
    from quintain.study.answers import StudyResult
    from quintain.study.person_course import PersonSummary

__all__ = [
    "write_calibration_reports",
    "write_drop_reports",
    "write_person_reports",
    "write_reports",
    "write_rig_reports",
    "write_session_reports",
    "write_study_reports",
    "write_tap_reports",
]


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

    def html(path: Path) -> None:
        write_strikes_html(analysis, path, invented=invented)

    def pdf(path: Path) -> None:
        write_strikes_pdf(analysis, path, invented=invented)

    return _both(Path(analysis.path).stem or "recording", Path(folder), html, pdf)


def write_drop_reports(test: DropTest, folder: str | Path, *, invented: bool = False) -> list[Path]:
    """
    Write the report of a drop test as HTML and as PDF.

    Parameters
    ----------
    test : DropTest
        Finished results.
    folder, invented
        As for :func:`write_reports`.

    Returns
    -------
    list of Path
        The HTML file and the PDF file.

    Raises
    ------
    UsageError
        If the folder cannot be written to.
    """
    from quintain.report.drops_report import write_drops_html, write_drops_pdf

    def html(path: Path) -> None:
        write_drops_html(test, path, invented=invented)

    def pdf(path: Path) -> None:
        write_drops_pdf(test, path, invented=invented)

    return _both(Path(test.path).stem or "drops", Path(folder), html, pdf)


def write_tap_reports(test: TapTest, folder: str | Path, *, invented: bool = False) -> list[Path]:
    """As :func:`write_drop_reports`, for a tap test; named after its first recording."""
    from quintain.report.tap_report import write_taps_html, write_taps_pdf

    def html(path: Path) -> None:
        write_taps_html(test, path, invented=invented)

    def pdf(path: Path) -> None:
        write_taps_pdf(test, path, invented=invented)

    return _both(Path(test.inputs[0][0]).stem or "taps", Path(folder), html, pdf)


def write_calibration_reports(
    result: StaticCalibration, folder: str | Path, *, invented: bool = False
) -> list[Path]:
    """As :func:`write_drop_reports`, for a static calibration."""
    from quintain.report.calibration_report import write_calibration_html, write_calibration_pdf

    def html(path: Path) -> None:
        write_calibration_html(result, path, invented=invented)

    def pdf(path: Path) -> None:
        write_calibration_pdf(result, path, invented=invented)

    return _both(Path(result.path).stem or "loads", Path(folder), html, pdf)


def write_rig_reports(
    state: RigState,
    folder: str | Path,
    *,
    name: str = "rig",
    invented: bool = False,
    calibrations: Sequence[StaticCalibration] = (),
    taps: Sequence[TapTest] = (),
    drops: Sequence[DropTest] = (),
) -> list[Path]:
    """
    As :func:`write_drop_reports`, for how a rig stands; ``name`` is that of the files.

    Calibrations, tap tests and drop tests that are given become part of it.
    """
    from quintain.report.rig_html import write_rig_html
    from quintain.report.rig_pdf import write_rig_pdf

    def html(path: Path) -> None:
        write_rig_html(state, path, invented=invented, calibrations=calibrations, taps=taps, drops=drops)

    def pdf(path: Path) -> None:
        write_rig_pdf(state, path, invented=invented, calibrations=calibrations, taps=taps, drops=drops)

    return _both(name, Path(folder), html, pdf)


def write_session_reports(
    summary: SessionSummary, folder: str | Path, *, invented: bool = False
) -> list[Path]:
    """As :func:`write_drop_reports`, for a session: the coach's page."""
    from quintain.report.session_report import write_session_html, write_session_pdf

    def html(path: Path) -> None:
        write_session_html(summary, path, invented=invented)

    def pdf(path: Path) -> None:
        write_session_pdf(summary, path, invented=invented)

    name = f"session-{summary.code}" + (f"-{summary.person}" if summary.person else "")
    return _both(name, Path(folder), html, pdf)


def write_person_reports(summary: PersonSummary, folder: str | Path, *, invented: bool = False) -> list[Path]:
    """As :func:`write_drop_reports`, for a person's course over sessions."""
    from quintain.report.person_report import write_person_html, write_person_pdf

    def html(path: Path) -> None:
        write_person_html(summary, path, invented=invented)

    def pdf(path: Path) -> None:
        write_person_pdf(summary, path, invented=invented)

    return _both(f"person-{summary.code}", Path(folder), html, pdf)


def write_study_reports(result: StudyResult, folder: str | Path, *, invented: bool = False) -> list[Path]:
    """
    Write the report of a study as HTML and as PDF.

    Parameters
    ----------
    result : StudyResult
        Finished answers.
    folder, invented
        As for :func:`write_reports`.

    Returns
    -------
    list of Path
        The HTML file and the PDF file.

    Raises
    ------
    UsageError
        If the folder cannot be written to.
    """
    from quintain.report.study_report import write_study_html, write_study_pdf

    def html(path: Path) -> None:
        write_study_html(result, path, invented=invented)

    def pdf(path: Path) -> None:
        write_study_pdf(result, path, invented=invented)

    return _both(f"study-{result.plan.code}", Path(folder), html, pdf)


def _both(stem: str, folder: Path, html: Callable[[Path], None], pdf: Callable[[Path], None]) -> list[Path]:
    paths = [folder / f"{stem}.report.html", folder / f"{stem}.report.pdf"]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        html(paths[0])
        pdf(paths[1])
    except OSError as problem:
        raise UsageError(f"{folder}: cannot write the report there: {problem.strerror}") from None
    return paths
