"""The report of a rig as one HTML file that needs nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from quintain.domain.calibration import StaticCalibration
from quintain.domain.drop import DropTest
from quintain.domain.rig_state import RigState
from quintain.domain.tap import TapTest
from quintain.report.page import render
from quintain.report.rig_content import rig_content
from quintain.report.whole_file import write_whole
from quintain.version import __version__

__all__ = ["write_rig_html"]


def write_rig_html(
    state: RigState,
    path: str | Path,
    *,
    invented: bool,
    calibrations: Sequence[StaticCalibration] = (),
    taps: Sequence[TapTest] = (),
    drops: Sequence[DropTest] = (),
) -> Path:
    """
    Write the report; the same state gives the same bytes.

    Parameters
    ----------
    state : RigState
        How the rig stands.
    path : str or Path
        Where to; replaced whole or not at all.
    invented : bool
        Whether the data are invented; the report then says so.
    calibrations, taps, drops : sequence of StaticCalibration, of TapTest, of DropTest
        Tests to show in full beside the trends.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    content = rig_content(
        state, invented=invented, software=__version__, calibrations=calibrations, taps=taps, drops=drops
    )
    return write_whole(path, render("sections.html", content).encode("utf-8"))
