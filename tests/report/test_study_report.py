"""The report of a study says what the answers hold: numbers, words by the rule, refusals, methods."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from tests.study.invented_study import invented_study

from quintain.report.study_content import judge_study, study_content
from quintain.study.answers import Answers, ReliabilityAnswer, StudyResult
from report.written import write_study_html, write_study_pdf


@pytest.fixture(scope="module")
def result() -> StudyResult:
    return invented_study()


def test_every_question_has_its_section_once(result: StudyResult) -> None:
    titles = [section["title"] for section in study_content(result, invented=True)["sections"]]
    assert len(set(titles)) == len(titles)
    for words in ("Reliability from session", "by side", "mixed model", "Agreement of S-1 and S-3",
                  "From strike to strike", "Asymmetry", "Progress", "In numbers", "Mean force curve, cross",
                  "Not answered", "Methods paragraph"):  # fmt: skip
        assert any(words in title for title in titles), words


def test_the_table_of_reliability_holds_the_numbers_of_the_answers(result: StudyResult) -> None:
    section = study_content(result, invented=True)["sections"][0]
    rows = [a for a in result.answers.answers if isinstance(a, ReliabilityAnswer)]
    for answer, line in zip(rows, section["tables"][0]["lines"], strict=True):
        assert float(line[3]["exact"]) == answer.icc.value
        assert float(line[4]["exact"]) == answer.icc.lower
        assert float(line[7]["exact"]) == answer.error.mdc
        assert line[-1]["value"].startswith(answer.words)


def test_the_first_sentence_follows_the_rules_and_owns_to_what_is_refused(result: StudyResult) -> None:
    verdict = judge_study(result)
    assert verdict.word == "With doubt"
    assert "could not be answered" in verdict.why
    assert re.match(r"Impulse, whole event repeats? from session to session\.", verdict.sentence)
    nothing = StudyResult(result.plan, Answers((), (), (), ()), (), "", 0, (), (), (), (), "", "0", "")
    assert judge_study(nothing).word == "Undecided"


def test_the_page_says_invented_and_the_pdf_is_one(result: StudyResult, tmp_path: Path) -> None:
    page = write_study_html(result, tmp_path / "study.html", invented=True).read_text(encoding="utf-8")
    assert "invented" in page
    assert page.count("<svg") > 6
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert write_study_pdf(result, tmp_path / "study.pdf", invented=True).read_bytes().startswith(b"%PDF")
    again = write_study_html(result, tmp_path / "again.html", invented=True).read_text(encoding="utf-8")
    assert again == page


def test_measurement_stands_beside_people_and_what_strikes_share_by_name(result: StudyResult) -> None:
    sections = {s["title"]: s for s in study_content(result, invented=True)["sections"]}
    one, mean = sections["Measurement beside people"]["tables"]
    assert [c["name"] for c in mean["columns"]] == ["quantity", "SE of mean", "gain of the cell", "together"]
    for d, left, right in zip(result.answers.described, one["lines"], mean["lines"], strict=True):
        share, row = d.measurement[0], d.rows[0]
        assert [float(cell["exact"]) for cell in left[1:4]] == [
            share.sd_within, share.u_strike, share.biological_sd
        ]  # fmt: skip
        assert [float(cell["exact"]) for cell in right[1:]] == [row.se_mean, row.common.u, row.whole.u]
        # 0.5 % of every value, on one rig: the same part of the mean
        assert row.common.u == pytest.approx(0.005 * row.mean, rel=1e-9)
    said = sections["Impulse, whole event by side"]["reasons"]
    assert any("What strikes share of the measurement cancels in the difference to u = " in s for s in said)


def test_what_is_not_known_to_be_shared_is_said_so(result: StudyResult) -> None:
    described = result.answers.described
    row = described[0].rows[0]._replace(common=None, whole=None)
    share = described[0].measurement[0]
    assert share is not None
    unknown = replace(described[0], rows=(row,), measurement=(share._replace(told_apart=False),))
    told = replace(result, answers=replace(result.answers, described=(unknown, *described[1:])))
    sections = {s["title"]: s for s in study_content(told, invented=True)["sections"]}
    _, mean = sections["Measurement beside people"]["tables"]
    assert [cell["stated"] for cell in mean["lines"][0]] == [True, True, False, False]
    assert len(sections["Measurement beside people"]["reasons"]) == 1
