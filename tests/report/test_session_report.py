"""The coach's page: everybody against their own, in words and figures that follow from the summary."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from quintain.domain.session_summary import SessionLine, SessionSummary, SessionValue, Usual
from quintain.report.session_report import judge_session, session_content
from report.pdf_pages import count_pages, words_of_pages
from report.written import write_session_html, write_session_pdf

SUMMARY = SessionSummary(
    code="S-02",
    title="Tuesday (invented)",
    when="2026-09-08T17:00+00:00",
    rig="wall pad (invented)",
    rig_verdict="sound",
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
    assert judge_session(replace(SUMMARY, rig_verdict="doubt: the zero jumped")).word == "With doubt"
    assert judge_session(replace(SUMMARY, rig_verdict="undecided")).word == "With doubt"
    assert judge_session(replace(SUMMARY, unsafe=("overload",))).word == "Stop"
    assert judge_session(replace(SUMMARY, accepted=0, rejected=0)).word == "Undecided"


def test_numbers_are_rounded_and_missing_ones_are_said_to_be() -> None:
    content = session_content(SUMMARY, invented=True)
    assert content["columns"] == ["peak force on the cell, N", "impulse, N s"]
    first, second = (person["lines"][0] for person in content["people"])
    told = first["cells"][0]
    assert (told["mean"], told["range"]) == ("3\u202f930", "3\u202f720 to 4\u202f050")
    assert told["usual"] == "usual 3\u202f700 to 4\u202f200"
    assert (told["lower"], told["upper"]) == ("3\u202f700", "4\u202f200")
    # the usual range is the wider, so it is the scale: (3720 - 3700) / 500 = 4 %
    assert told["strip"] == {"band": (0.0, 100.0), "bar": (4.0, 70.0), "mean": 46.0}
    assert first["cells"][1]["usual"] == ""
    assert (first["cells"][1]["lower"], first["cells"][1]["upper"]) == ("23.4", "25.5"), "of the session"
    assert second["cells"][0]["mean"] == ""
    assert second["cells"][1] == {
        "mean": "10.7", "range": "", "usual": "", "upper": "", "lower": "", "strip": None,
    }  # fmt: skip


def people(n: int, kinds: int, quantities: int = 5) -> SessionSummary:
    """A session of so many invented people with so many kinds of strikes."""
    names = ("peak_force", "impulse", "approach_speed", "effective_mass", "energy")[:quantities]
    value = SessionValue(3930.0, 3720.0, 4050.0, 3, Usual(3700.0, 4200.0, 12))
    lines = tuple(
        SessionLine(
            f"P-{i:02d}", ("front kick", "cross", "jab")[k], "right", 3, 1, dict.fromkeys(names, value)
        )
        for i in range(1, n + 1)
        for k in range(kinds)
    )
    return replace(SUMMARY, accepted=3 * n * kinds, lines=lines)


@pytest.mark.parametrize(("n", "kinds", "pages"), [(1, 1, 1), (4, 3, 1), (8, 3, 1), (30, 2, 2)])
def test_everybody_fits_on_one_sheet_and_many_on_more(n: int, kinds: int, pages: int, tmp_path: Path) -> None:
    pdf = write_session_pdf(people(n, kinds), tmp_path / "s.pdf", invented=True)
    assert count_pages(pdf) == pages


def test_what_must_be_said_stays_and_a_page_parts_nobody(tmp_path: Path) -> None:
    for n in (8, 30):
        pdf = write_session_pdf(people(n, 2), tmp_path / "s.pdf", invented=True)
        pages = words_of_pages(pdf)
        assert len(pages) == count_pages(pdf)
        assert f"Sound. {6 * n} of {6 * n + 1} strikes accepted" in pages[0]
        assert "invented: nothing in it was measured" in pages[0]
        for words in ("Hands.", "Mount.", "Overload.", "Falling mass.", "Local rules", "middle 80 %"):
            assert words in pages[-1]
        assert all("impulse" in page for page in pages), "each page has its head"
        assert sum(len(re.findall(r"P-\d\d", page)) for page in pages) == n
        for page in pages:
            assert (
                page.count("front kick right")
                == page.count("cross right")
                == len(re.findall(r"P-\d\d", page))
            )


def test_page_and_pdf_are_written_and_say_invented(tmp_path: Path) -> None:
    page = write_session_html(SUMMARY, tmp_path / "s.html", invented=True).read_text(encoding="utf-8")
    assert "invented" in page
    assert "not stated" in page
    assert "Local rules" in page
    assert write_session_pdf(SUMMARY, tmp_path / "s.pdf", invented=True).read_bytes().startswith(b"%PDF")
