"""The report of a rig as one HTML file that needs nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from quintain.domain.rig_state import RigState
from quintain.report.page import render
from quintain.report.parts import Section
from quintain.report.rig_content import rig_content
from quintain.report.whole_file import write_whole
from quintain.version import __version__

__all__ = ["write_rig_html"]


def write_rig_html(
    state: RigState, path: str | Path, *, invented: bool, evidence: Sequence[Section] = ()
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
    evidence : sequence of Section
        Tests shown in full.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    content = rig_content(state, invented=invented, software=__version__, evidence=evidence)
    return write_whole(path, render("sections.html", content).encode("utf-8"))
