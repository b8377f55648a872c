"""Reports of each kind as files, one call a kind and form, from the contents that the tasks write."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from quintain.report.calibration_report import calibration_content
from quintain.report.drops_report import drops_content
from quintain.report.output import write_html, write_pdf
from quintain.report.person_content import person_content
from quintain.report.rig_content import rig_content
from quintain.report.session_report import session_content
from quintain.report.strikes_content import PRINTED_HEIGHT, strikes_content
from quintain.report.study_content import study_content
from quintain.report.tap_report import tap_content
from quintain.version import __version__

Writer = Callable[..., Path]


def _writer(write: Writer, template: str, content: Callable[..., Any], **always: Any) -> Writer:
    def written(of: Any, path: Path, **told: Any) -> Path:
        return write(template, content(of, **told, **always), path)

    return written


_html, _pdf = partial(_writer, write_html), partial(_writer, write_pdf)

write_calibration_html = _html("sections", calibration_content)
write_calibration_pdf = _pdf("sections", calibration_content)
write_drops_html = _html("sections", drops_content)
write_drops_pdf = _pdf("sections", drops_content)
write_person_html = _html("person", person_content)
write_person_pdf = _pdf("person", person_content)
write_rig_html = _html("sections", rig_content, software=__version__)
write_rig_pdf = _pdf("sections", rig_content, software=__version__)
write_session_html = _html("session", session_content)
write_session_pdf = _pdf("session", session_content)
write_strikes_html = _html("strikes", strikes_content)
write_strikes_pdf = _pdf("strikes", strikes_content, figure_height=PRINTED_HEIGHT)
write_study_html = _html("sections", study_content)
write_study_pdf = _pdf("sections", study_content)
write_taps_html = _html("sections", tap_content)
write_taps_pdf = _pdf("sections", tap_content)
