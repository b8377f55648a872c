"""The report of a rig as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from quintain.domain.calibration import StaticCalibration
from quintain.domain.drop import DropTest
from quintain.domain.rig_state import RigState
from quintain.domain.tap import TapTest
from quintain.report.rig_content import rig_content
from quintain.report.typeset import typeset
from quintain.report.whole_file import write_whole
from quintain.version import __version__

__all__ = ["write_rig_pdf"]


def write_rig_pdf(
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
        Whether the data are invented; every page then says so.
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
    return write_whole(path, typeset("sections.typ", content))
