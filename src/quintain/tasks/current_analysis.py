"""The analysis in force of a recording of a lab, whole: numbers, doubts and curves."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import select

from quintain.domain.analysis import Analysis
from quintain.errors import LabError, QuintainError
from quintain.store.lab import Lab
from quintain.store.results import load_analysis
from quintain.store.schema import Analysis as AnalysisRow
from quintain.store.schema import Result
from quintain.tasks.lab_views import recording_view
from quintain.tasks.replay import curves_of_each

__all__ = ["current_analysis"]


def current_analysis(lab: Lab, recording: str) -> Analysis:
    """
    What the lab says of a recording now, with the curves of its strikes.

    Parameters
    ----------
    lab : Lab
        The lab.
    recording : str
        Its name, or how its SHA-256 begins.

    Raises
    ------
    LabError
        If there is no such recording, or it has not been analysed.
    """
    sha256 = recording_view(lab, recording, limit=1).row.sha256
    with lab.reading() as database:
        current = select(AnalysisRow.id).where(AnalysisRow.recording_sha256 == sha256, AnalysisRow.current)
        analysis_id = database.scalar(current)
        if analysis_id is None:
            raise LabError(f"the recording {recording} has not been analysed; run quintain analyse --lab")
        ids = dict(
            database.execute(
                select(Result.number, Result.strike_id).where(Result.analysis_id == analysis_id)
            ).all()
        )
    analysis = load_analysis(lab, analysis_id)
    strikes = []
    each = curves_of_each(lab, [ids[strike.number] for strike in analysis.strikes])
    for strike, (_, curves) in zip(analysis.strikes, each, strict=True):
        if isinstance(curves, QuintainError):
            raise curves
        strikes.append(replace(strike, curve=curves.force, limb=curves.limb))
    return replace(analysis, strikes=tuple(strikes))
