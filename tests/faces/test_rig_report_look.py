"""The report of a rig as a reader meets it."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from quintain.domain.rig import Calibration, Rig
from quintain.domain.rig_state import RigState, Trend
from quintain.quantities import GLOSSARY
from quintain.report.rounding import shown
from report import invented_rig as invented
from report import invented_tests as evidence
from report.written import write_rig_html, write_rig_pdf


def _html(state: RigState, folder: Path, **more: object) -> str:
    return write_rig_html(state, folder / "rig.html", invented=True, **more).read_text(encoding="utf-8")  # type: ignore[arg-type]


def _words(html: str) -> str:
    return re.sub(r"[ \n\t\u00a0]+", " ", "".join(ET.fromstring(html).itertext()))


@pytest.mark.parametrize(
    ("verdict", "begins"),
    [
        ("sound", "Sound. Fit for use up to 3\u202f800 N"),
        ("doubt", "With doubt. 2 things"),
        ("undecided", "Undecided. "),
    ],
)
def test_verdict_comes_first(verdict: str, begins: str, tmp_path: Path) -> None:
    html = _html(invented.state(verdict), tmp_path)
    heading = ET.fromstring(html).find(".//h1")
    assert heading is not None
    assert "".join(heading.itertext()).startswith(begins)
    write_rig_pdf(invented.state(verdict), tmp_path / "rig.pdf", invented=True)


def test_reasons_due_dates_trends_and_cautions_are_all_there(tmp_path: Path) -> None:
    state = invented.state()
    html = _html(state, tmp_path)
    words = _words(html)
    for reason in state.reasons:
        assert reason[1:] in words
    assert "Drop test" in words
    assert "due now" in words
    assert "due in 4 days" in words
    for trend in state.trends:
        assert GLOSSARY[trend.quantity].definition in words
        assert shown(trend.values[-1]).text in words
    for part in ("Falling mass", "hands and feet", "injure hands", "Mount.", "Overload.", "Local rules",
                 "not a medical device", "only drops and taps"):  # fmt: skip
        assert part in words
    assert "http" not in html
    assert "<script" not in html


def test_a_jump_is_marked_and_short_histories_say_so(tmp_path: Path) -> None:
    html = _html(invented.state(), tmp_path)
    sections = {
        "".join(s.find(".//h2").itertext()): s  # type: ignore[union-attr]
        for s in ET.fromstring(html).iter("section")
        if s.find(".//h2") is not None
    }
    jumped = ET.tostring(sections["Natural frequency, over time"], encoding="unicode")
    assert "#m-doubt" in jumped
    assert 'class="pt-o"' in jumped
    assert "outside the limits" in jumped
    steady = ET.tostring(sections["Damping ratio, over time"], encoding="unicode")
    assert "#m-sound" in steady
    assert 'class="pt-o"' not in steady
    few = ET.tostring(sections["Restitution, over time"], encoding="unicode")
    assert "Too few checks" in few
    assert 'class="limit"' not in few


def test_evidence_stands_beside_the_trends(tmp_path: Path) -> None:
    drops, taps, loads = evidence.drop_test(), evidence.tap_test(), evidence.calibration()
    shown_tests = {"calibrations": [loads], "taps": [taps], "drops": [drops]}
    html = _html(invented.state(), tmp_path, **shown_tests)
    words = _words(html)
    for title in ("Drop test: the whole chain", "Drop test: the pad", "Tap test: what it allows",
                  "Static calibration: the curve"):  # fmt: skip
        assert title in words
    for sha in (drops.sha256, loads.sha256, taps.inputs[0][1]):
        assert sha in words
    one = write_rig_pdf(invented.state(), tmp_path / "a.pdf", invented=True, **shown_tests)  # type: ignore[arg-type]
    two = write_rig_pdf(invented.state(), tmp_path / "b.pdf", invented=True, **shown_tests)  # type: ignore[arg-type]
    assert one.read_bytes() == two.read_bytes()


def test_a_bare_rig_and_one_value_are_shown(tmp_path: Path) -> None:
    one = invented.trend("gain", 1.0, 0.001, 0.001, n=1)
    state = dataclasses.replace(
        invented.state("undecided"), rig=Rig("bare", calibration=Calibration()), trends=(one,), due=()
    )
    assert "date not known" in _words(_html(state, tmp_path))
    write_rig_pdf(state, tmp_path / "rig.pdf", invented=False)
    drifting = dataclasses.replace(invented.trend("gain", 1.0, 0.001, 0.001), average=(1.1,) * 22)
    assert isinstance(drifting, Trend)
    assert "a small shift lasts" in _words(_html(dataclasses.replace(state, trends=(drifting,)), tmp_path))
