"""Reports from the app: what can be made, files to keep, and pages shown under a policy of their own."""

from __future__ import annotations

import re
from urllib.parse import quote

import pytest

from quintain.store.lab import Lab
from quintain.store.queries_lists import list_recordings, list_rigs
from quintain.web.security.headers import REPORT_POLICY


def test_an_empty_lab_says_what_each_report_needs(client):
    page = client.get("/reports").text
    assert "There is nothing to report yet." in page
    for words in ("Import recordings into a session", "Tag strikes with a person", "Add a rig"):
        assert words in page


def test_every_report_that_is_offered_can_be_read(small_client):
    page = small_client.get("/reports")
    assert page.status_code == 200
    offered = re.findall(r'href="(/[^"]+/report\.html)\?show=1"', page.text)
    kinds = {path.split("/")[1] for path in offered}
    assert kinds >= {"sessions", "people", "recordings", "rigs"}
    for kind in sorted(kinds):
        path = next(one for one in offered if one.startswith(f"/{kind}/"))
        shown = small_client.get(path, params={"show": 1})
        assert shown.status_code == 200, path
        assert shown.headers["content-security-policy"] == REPORT_POLICY
        assert "content-disposition" not in shown.headers
        assert "Local rules" in shown.text
        assert "invented data" in shown.text
        assert "<script" not in shown.text


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_a_person_is_handed_on_as_a_file_under_the_code(small_client, kind):
    answer = small_client.get(f"/people/P02/report.{kind}")
    assert answer.status_code == 200
    assert answer.headers["content-disposition"] == f"attachment; filename*=UTF-8''person-P02.report.{kind}"
    assert answer.content.startswith(b"<!DOCTYPE" if kind == "html" else b"%PDF")
    if kind == "html":
        assert "P02" in answer.text
        assert "P01" not in answer.text, "nobody else appears"


def test_what_is_not_there_is_told_in_words(small_client, small_lab):
    with Lab.open(small_lab) as lab:
        rows, _ = list_recordings(lab)
    broken = next(row for row in rows if not row.strikes.total and row.kind == "strikes")
    for path, words in (
        ("/people/P99/report.html", "There is no person"),
        ("/people/P02/report.docx", "made as html and as pdf"),
        ("/rigs/none/report.pdf", "There is no rig"),
        ("/recordings/0123456789/report.pdf", "recording"),
        (f"/recordings/{broken.sha256}/report.html", "has not been analysed"),
    ):
        answer = small_client.get(path)
        assert answer.status_code == 404, path
        assert words in answer.text, path


def test_the_list_and_a_shown_report_in_a_browser(small_browser):
    page = small_browser.page("/reports")
    assert small_browser.faults(page) == []
    page.get_by_role("link", name="Read the report of P02").click()
    assert page.get_by_role("heading", level=1).inner_text().strip()
    page.go_back()
    assert page.get_by_role("heading", name="Rigs").is_visible()
    dark = small_browser.page("/reports", dark=True, width=820)
    assert small_browser.faults(dark) == []
    plain = small_browser.page("/reports", java_script_enabled=False)
    assert plain.get_by_role("link", name="PDF of P02").get_attribute("href") == "/people/P02/report.pdf"


def test_pages_lead_to_their_report(small_client, small_lab):
    with Lab.open(small_lab) as lab:
        rows, _ = list_recordings(lab)
        rig = list_rigs(lab)[0].name
    analysed = next(row for row in rows if row.strikes.total)
    for path in ("/people/P02", f"/recordings/{analysed.sha256}", f"/rigs/{quote(rig)}"):
        assert f'href="{path}/report.html?show=1"' in small_client.get(path).text, path
