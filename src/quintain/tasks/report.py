"""Write the report of an analysis, of a test of the rig, or of the rig itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quintain.domain.analysis import Analysis
from quintain.domain.calibration import StaticCalibration
from quintain.domain.drop import DropTest
from quintain.domain.rig_state import RigState
from quintain.domain.session_summary import SessionSummary
from quintain.domain.tap import TapTest
from quintain.errors import UsageError
from quintain.version import __version__

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
    from quintain.report.strikes_content import PRINTED_HEIGHT, strikes_content

    return _write(
        Path(analysis.path).stem or "recording", folder, "strikes",
        strikes_content(analysis, invented=invented),
        printed=strikes_content(analysis, invented=invented, figure_height=PRINTED_HEIGHT),
    )  # fmt: skip


def write_drop_reports(test: DropTest, folder: str | Path, *, invented: bool = False) -> list[Path]:
    """As :func:`write_reports`, for a drop test."""
    from quintain.report.drops_report import drops_content

    content = drops_content(test, invented=invented)
    return _write(Path(test.path).stem or "drops", folder, "sections", content)


def write_tap_reports(test: TapTest, folder: str | Path, *, invented: bool = False) -> list[Path]:
    """As :func:`write_reports`, for a tap test; named after its first recording."""
    from quintain.report.tap_report import tap_content

    content = tap_content(test, invented=invented)
    return _write(Path(test.inputs[0][0]).stem or "taps", folder, "sections", content)


def write_calibration_reports(
    result: StaticCalibration, folder: str | Path, *, invented: bool = False
) -> list[Path]:
    """As :func:`write_reports`, for a static calibration."""
    from quintain.report.calibration_report import calibration_content

    content = calibration_content(result, invented=invented)
    return _write(Path(result.path).stem or "loads", folder, "sections", content)


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
    As :func:`write_reports`, for how a rig stands; ``name`` is that of the files.

    Calibrations, tap tests and drop tests that are given become part of it.
    """
    from quintain.report.rig_content import rig_content

    content = rig_content(
        state, invented=invented, software=__version__, calibrations=calibrations, taps=taps, drops=drops
    )
    return _write(name, folder, "sections", content)


def write_session_reports(
    summary: SessionSummary, folder: str | Path, *, invented: bool = False
) -> list[Path]:
    """As :func:`write_reports`, for a session: the coach's page."""
    from quintain.report.session_report import session_content

    name = f"session-{summary.code}" + (f"-{summary.person}" if summary.person else "")
    return _write(name, folder, "session", session_content(summary, invented=invented))


def write_person_reports(summary: PersonSummary, folder: str | Path, *, invented: bool = False) -> list[Path]:
    """As :func:`write_reports`, for a person's course over sessions."""
    from quintain.report.person_content import person_content

    return _write(f"person-{summary.code}", folder, "person", person_content(summary, invented=invented))


def write_study_reports(result: StudyResult, folder: str | Path, *, invented: bool = False) -> list[Path]:
    """As :func:`write_reports`, for a study."""
    from quintain.report.study_content import study_content

    return _write(f"study-{result.plan.code}", folder, "sections", study_content(result, invented=invented))


def _write(
    stem: str,
    folder: str | Path,
    template: str,
    content: Mapping[str, Any],
    *,
    printed: Mapping[str, Any] | None = None,
) -> list[Path]:
    """HTML and PDF of one content; ``printed`` is what the PDF says where that is set otherwise."""
    from quintain.report.output import write_html, write_pdf

    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [
            write_html(template, content, folder / f"{stem}.report.html"),
            write_pdf(template, printed or content, folder / f"{stem}.report.pdf"),
        ]
    except OSError as problem:
        raise UsageError(f"{folder}: cannot write the report there: {problem.strerror}") from None
