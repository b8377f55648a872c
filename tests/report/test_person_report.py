"""The report of a person: own numbers, the rule in words, refusals in words, and the code alone."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

from quintain.report.person_content import judge_person, person_content
from quintain.study.common_part import CommonPart
from quintain.study.progress import RULE
from report.invented_person import MEANS, many_kinds, person
from report.pdf_pages import count_pages, words_of_pages
from report.written import write_person_html, write_person_pdf

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
    empty = person_content(nobody, invented=True)
    assert (empty["courses"], empty["rigs"], empty["sides"]) == ([], [], [])
    assert empty["methods"] == "Nothing was computed."
    content = person_content(SUMMARY, invented=True)
    assert content["unjudged"] == [
        "Jab, left on wall pad (invented): one session so far; progress needs a second one."
    ]
    assert [row["refused"] for row in content["courses"][0]["standings"]] == ["", "No strike states it."]
    assert content["sides"][0]["rows"][1]["refused"] == "one side states it only"


def test_numbers_are_those_of_the_summary() -> None:
    content = person_content(SUMMARY, invented=True)
    progress = SUMMARY.courses[0].lines[0].progress
    assert progress is not None
    rows = content["rigs"][0]["rows"]
    assert [rows[0][key] for key in ("kind", "session", "day", "n")] == [
        "cross, right", "S-1", "2026-09-01", "3",
    ]  # fmt: skip
    assert [row["kind"] for row in rows] == ["cross, right", "", "", "jab, left"]
    assert [row["cells"][0]["value"] for row in rows] == [
        "30.0 (0.6)", "31.0 (0.8)", "36.0 (0.7)", "18.0 (–)",
    ], "the SD of one strike is not a number"  # fmt: skip
    # a session between the first and the latest says its own change, the latest says it above
    assert [row["cells"][0]["change"] for row in rows] == ["", "+1.0, unclear", "", ""]
    assert float(rows[1]["cells"][0]["change_exact"]) == progress.changes[0].change
    course = content["courses"][0]
    assert course["says"] == "Impulse, whole event rose beyond the error of measurement."
    assert "S-3 against S-1; error of measurement from 8 people" in course["note"]
    line = course["standings"][0]
    # 1.96 √2 times a standard error of 1 N s known for good (Weir 2005)
    assert [line[key] for key in ("first", "now", "change", "spread", "swc", "usual")] == [
        "30.0", "36.0", "+6.0", "±\u00a02.8", "1.0", "29.4 to 31.9, of 6",
    ]  # fmt: skip
    assert float(line["exact"]) == progress.changes[-1].change
    assert line["words"] == f"real; {progress.changes[-1].verdict}"
    left = content["sides"][0]["rows"][0]
    # 100 (exp 0.02 - 1) and 100 (exp 0.18 - 1): the interval of the logarithm of the ratio
    assert [left[key] for key in ("label", "percent", "interval", "words")] == [
        "Impulse, whole event", "+11 %", "+2.0 to +20 %", "left larger; beyond own scatter",
    ]  # fmt: skip


def _standing_with(
    change: float, mdc: float, *, real: bool, half: float | None = None, common: CommonPart | None = None
) -> dict[str, str]:
    line = SUMMARY.courses[0].lines[0]
    assert line.progress is not None
    half = mdc if half is None else half
    last = line.progress.changes[-1]._replace(
        change=change, interval=(change - half, change + half), real=real, common=common
    )
    close = line.progress._replace(changes=(last,), mdc=mdc)
    course = replace(SUMMARY.courses[0], lines=(replace(line, progress=close),))
    content = person_content(replace(SUMMARY, courses=(course,)), invented=True)
    told: dict[str, str] = content["courses"][0]["standings"][0]
    return told


def test_a_real_change_never_reads_as_large_as_what_is_detectable() -> None:
    told = _standing_with(0.504, 0.497, real=True)
    assert (told["change"], told["spread"]) == ("+0.504", "±\u00a00.497")


def test_a_change_across_a_calibration_says_so_by_name() -> None:
    gain = CommonPart(2.0, (("gain", 2.0),))
    anew = _standing_with(5.0, 3.0, real=False, half=4.9, common=gain)
    assert (anew["change"], anew["spread"]) == ("+5.00", "±\u00a04.90")
    assert anew["words"].endswith("; calibrated anew in between (gain of the cell 2.0 N s)")
    assert (
        "calibrated"
        not in _standing_with(5.0, 3.0, real=True, common=CommonPart(0.01, (("gain", 0.01),)))["words"]
    )


def test_a_change_that_rounds_to_nothing_has_no_sign() -> None:
    assert _standing_with(0.02, 3.0, real=False)["change"] == "0"
    assert _standing_with(-0.02, 3.0, real=False)["change"] == "0"


def test_four_kinds_take_two_pages_what_matters_on_the_first(tmp_path: Path) -> None:
    summary = many_kinds()
    pdf = write_person_pdf(summary, tmp_path / "a.pdf", invented=True)
    assert count_pages(pdf) == 2
    first, second = words_of_pages(pdf)
    for part in ("Cross, right", "Front kick, left", "Front kick, right", "Jab, left", "by the rule", "SWC"):
        assert part in first, part
    assert "invented: nothing in it was measured" in first
    for part in ("From session to session", "Left against right", "The rule", "Methods paragraph",
                 "Definitions", "Provenance", "Local rules"):  # fmt: skip
        assert part in second, part


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
