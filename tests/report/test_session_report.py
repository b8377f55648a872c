"""The coach's page: everybody against their own, in words and figures that follow from the summary."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from quintain.domain.session_summary import SessionLine, SessionSummary, SessionValue, Usual
from quintain.report.session_report import (
    judge_session,
    session_content,
    write_session_html,
    write_session_pdf,
)

SUMMARY = SessionSummary(
    code="S-02",
    title="Tuesday (invented)",
    when="2026-09-08T17:00+00:00",
    rig="wall pad (invented)",
    rig_verdict="pass",
    unsafe=(),
    accepted=3,
    waiting=0,
    rejected=1,
    lines=(
        SessionLine(
            "P-01", "cross", "right", 3, 1,
            {"peak_force": SessionValue(3930.0, 3720.0, 4050.0, 3, Usual(3700.0, 4200.0, 12)),
             "impulse": SessionValue(24.61, 23.4, 25.5, 3, None)},
        ),
        SessionLine("P-02", "jab", "left", 1, 0, {"impulse": SessionValue(10.7, 10.7, 10.7, 1, None)}),
    ),
    software="0.0",
    made="2026-11-25T15:00:00+00:00",
)  # fmt: skip


def test_the_first_sentence_counts_and_stops() -> None:
    assert judge_session(SUMMARY).sentence == "3 of 4 strikes accepted, 1 rejected."
    assert judge_session(SUMMARY).word == "Sound"
    assert judge_session(replace(SUMMARY, waiting=2)).word == "Undecided"
    assert judge_session(replace(SUMMARY, rig_verdict="fail: the zero jumped")).word == "With doubt"
    assert judge_session(replace(SUMMARY, unsafe=("overload",))).word == "Stop"
    assert judge_session(replace(SUMMARY, accepted=0, rejected=0)).word == "Undecided"


def test_numbers_are_rounded_and_missing_ones_are_said_to_be() -> None:
    content = session_content(SUMMARY, invented=True)
    assert content["columns"] == ["peak force on the cell, N", "impulse, N s"]
    first, second = (person["lines"][0] for person in content["people"])
    assert first["cells"][0] == {
        "mean": "3\u202f930",
        "range": "3\u202f720 to 4\u202f050",
        "usual": "usual 3\u202f700 to 4\u202f200",
    }
    assert first["cells"][1]["usual"] == ""
    assert second["cells"][0]["mean"] == ""


def test_page_and_pdf_are_written_and_say_invented(tmp_path: Path) -> None:
    page = write_session_html(SUMMARY, tmp_path / "s.html", invented=True).read_text(encoding="utf-8")
    assert "invented" in page
    assert "not stated" in page
    assert "Local rules" in page
    assert write_session_pdf(SUMMARY, tmp_path / "s.pdf", invented=True).read_bytes().startswith(b"%PDF")
