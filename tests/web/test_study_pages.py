"""The page of a study: answers, what strikes share of the measurement, and what cannot be answered."""

from __future__ import annotations

from datetime import UTC, datetime

import httpx
import pytest
from tests.web.conftest import Browser

from quintain.store.schema import Person
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.study import add_study
from simulated_lab import add_recording, make_lab, write_recording
from web_server import serving

PLAN = """\
code = "two"
title = "Two people (invented)"
question = "What do their strikes share?"
quantities = ["impulse", "peak_force", "contact_time"]
[select]
unreviewed = true
[[reliability]]
across = "trial"
"""


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """Address of a lab of two people who jab twice each, on a rig that states no uncertainty of its gain."""
    folder = tmp_path_factory.mktemp("study")
    with make_lab(folder, n=2) as lab:
        with lab.writing("tester") as writer:
            writer.database.add(Person(id=2, code="P02"))
        for i in (2, 3):
            path = write_recording(folder / f"other_{i}.csv", i, n=2)
            when = datetime(2026, 11, 2, 10, i, tzinfo=UTC)
            add_recording(lab, path, session_id=1, person_id=2, type="jab", when=when)
        analyse_lab(lab, who="tester")
        add_study(lab, PLAN, who="tester")
    with serving(folder / "lab") as address:
        yield address


def test_a_rig_without_a_stated_gain_leaves_the_shared_part_unknown(served):
    page = httpx.get(f"{served}/studies/two").text
    assert "Measurement beside people" in page
    words = " ".join(page.split())
    assert (
        "What strikes share of the measurement uncertainty of peak force on the cell was not known" in words
    )
    answers = httpx.get(f"{served}/studies/two/answers.json").json()
    rows = {d["quantity"]: d["rows"][0] for d in answers["described"]}
    assert rows["peak_force"]["common"] is None
    assert rows["peak_force"]["whole"] is None
    # no gain enters a time: its threshold is shared by strikes of a type
    assert [part for part, _ in rows["contact_time"]["common"]["parts"]] == ["pulse"]


@pytest.mark.parametrize(("dark", "width"), [(False, 1280), (True, 1280), (False, 820)])
def test_the_page_in_a_browser(chromium, served, dark, width):
    browser = Browser(chromium, served)
    page = browser.page("/studies/two", dark=dark, width=width)
    assert browser.faults(page) == []
    heading = page.get_by_role("heading", name="Measurement beside people")
    assert heading.is_visible()
    section = page.locator("section", has=heading)
    assert section.get_by_role("columnheader").all_inner_texts()[0] == "quantity"
    assert section.get_by_role("rowheader").filter(has_text="Contact time").count() == 2
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    browser.close()
