"""The report of a person: own numbers, the rule in words, refusals in words, and the code alone."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

from quintain.report.person_report import (
    judge_person,
    person_content,
    write_person_html,
    write_person_pdf,
)
from quintain.study.progress import RULE
from report.invented_person import MEANS, person

SUMMARY = person()


def test_the_first_sentence_tells_what_changed_by_the_rule() -> None:
    verdict = judge_person(SUMMARY)
    assert verdict.word == "Sound"
    assert verdict.sentence == (
        "Cross, right, S-3 against S-1: impulse, whole event rose beyond the error of measurement."
    )
    unsure = replace(SUMMARY, courses=(replace(SUMMARY.courses[0], unreviewed=True),))
    assert judge_person(unsure).word == "With doubt"
    assert "wait for review" in judge_person(unsure).why


def test_refused_and_empty_cases_are_words() -> None:
    once = judge_person(replace(SUMMARY, courses=SUMMARY.courses[1:]))
    assert once.word == "Undecided"
    assert "one session so far" in once.sentence
    nobody = replace(SUMMARY, courses=(), sessions=(), usual={}, methods="")
    assert judge_person(nobody).word == "Undecided"
    says = [section["says"] for section in person_content(nobody, invented=True)["sections"]]
    assert says == ["There is no strike to show yet.", "Nothing was computed."]
    sections = {s["title"]: s for s in person_content(SUMMARY, invented=True)["sections"]}
    assert sections["Jab, left, on wall pad (invented)"]["says"].startswith("One session so far")
    assert sections["Cross, right, on wall pad (invented): effective mass"]["says"] == "No strike states it."
    assert "Peak force on the cell: one side states it only." in next(
        s["reasons"] for title, s in sections.items() if title.startswith("Left against right")
    )


def test_numbers_are_those_of_the_summary() -> None:
    sections = person_content(SUMMARY, invented=True)["sections"]
    lines = sections[0]["tables"][0]["lines"]
    assert [cell["value"] for cell in lines[0][1:5]] == ["S-1", "2026-09-01", "3", "30.0 (0.6)"]
    assert lines[-1][4]["value"] == "18.0 (–)", "the SD of one strike is not a number"
    course = next(s for s in sections if s["title"].endswith("impulse, whole event"))
    progress = SUMMARY.courses[0].lines[0].progress
    assert progress is not None
    for line, change in zip(course["tables"][0]["lines"][1:], progress.changes, strict=True):
        assert float(line[1]["exact"]) == change.change
        assert line[2]["value"].endswith(change.verdict)
        assert ("not beyond error" in line[2]["value"]) is not change.real
    assert course["tables"][0]["lines"][2][1]["value"] == "+6.0"
    # 1.96 √2 times a standard error of 1 N s known for good (Weir 2005)
    assert "(MDC) 2.8 N s" in course["reasons"][0]
    assert "29.4 to 31.9 N s, of 6 strikes" in course["reasons"][1]
    sides = next(s for s in sections if s["title"].startswith("Left against right"))
    assert [cell["value"] for cell in sides["tables"][0]["lines"][0]] == [
        "Impulse, whole event", "+11 %", "left larger; beyond own scatter",
    ]  # fmt: skip


def test_a_real_change_never_reads_as_large_as_what_is_detectable() -> None:
    line = SUMMARY.courses[0].lines[0]
    assert line.progress is not None
    last = line.progress.changes[-1]._replace(change=0.504, real=True)
    close = line.progress._replace(changes=(last,), mdc=0.497)
    course = replace(SUMMARY.courses[0], lines=(replace(line, progress=close),))
    sections = person_content(replace(SUMMARY, courses=(course,)), invented=True)["sections"]
    cell = next(s for s in sections if s["title"].endswith("impulse, whole event"))["tables"][0]["lines"][1][
        1
    ]
    assert (cell["value"], cell["spread"]) == ("+0.504", "±\u00a00.497")


def test_page_and_pdf_are_whole_repeat_and_hold_the_code_alone(tmp_path: Path) -> None:
    page = write_person_html(SUMMARY, tmp_path / "a.html", invented=True).read_text(encoding="utf-8")
    assert page == write_person_html(SUMMARY, tmp_path / "b.html", invented=True).read_text(encoding="utf-8")
    words = re.sub(r"[ \n\t\u00a0]+", " ", "".join(ET.fromstring(page).itertext()))
    for part in ("invented data", RULE, "Force was corrected", "ef" * 32, "Local rules", "known by this code",
                 "9 accepted, 1 waiting, 2 rejected; 9 counted here", "by luck alone"):  # fmt: skip
        assert part in words, part
    figures = [
        svg.get("aria-label", "") for svg in ET.fromstring(page).iter("svg") if svg.get("role") == "img"
    ]
    told = next(label for label in figures if label.startswith("Impulse"))
    assert all(f"{mean:.1f} N s" in told for mean in MEANS)
    assert "http" not in page.replace("http://www.w3.org", "")
    pdf = write_person_pdf(SUMMARY, tmp_path / "a.pdf", invented=True).read_bytes()
    assert pdf.startswith(b"%PDF")
    assert pdf == write_person_pdf(SUMMARY, tmp_path / "b.pdf", invented=True).read_bytes()
