"""Overview, sessions and large mode in the app, by HTTP and in a browser."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import httpx
import pytest
from sqlalchemy import select
from starlette.datastructures import QueryParams

from quintain.domain.protocol import Condition, Protocol
from quintain.store.lab import Lab
from quintain.store.queries import strike_page
from quintain.store.queries_filter import StrikeFilter
from quintain.store.schema import Result, Strike
from quintain.tasks.audit_trail import AuditFilter, list_audit
from quintain.tasks.sessions import show_session
from quintain.web.pages._session_rows import asked_of
from quintain.web.pages.large import _rounded_up
from quintain.web.security.roles import Role
from web_server import access, serving, sign_in, token

PATH = "/sessions/S2"


def rows_of(page):
    return [int(id) for id in re.findall(r'<tr data-strike="(\d+)"', page)]


def strikes_of(folder, session="S2"):
    with Lab.open(folder) as lab:
        return strike_page(lab, StrikeFilter(sessions=(session,))).rows


# -- overview


def test_an_empty_lab_says_what_comes_first(client):
    page = client.get("/").text
    assert "The lab is empty" in page
    assert "No rig yet." in page
    assert 'href="/import"' in page


def test_overview_says_what_waits_and_how_rigs_stand(small_client, small_lab):
    page = small_client.get("/").text
    with Lab.open(small_lab) as lab:
        waiting = strike_page(lab, StrikeFilter(states=("waiting",))).total
    assert f"{waiting} strike" in re.search(r"<h1>.*?</h1>", page, re.S)[0]
    assert PATH in page
    assert "/rigs/" in page


# -- the table


def test_sessions_are_listed_with_their_counts(small_client):
    page = small_client.get("/sessions").text
    assert 'href="/sessions/S1"' in page
    assert 'href="/sessions/S2"' in page


def test_strikes_are_sorted_and_filtered_on_the_server(small_client, small_lab):
    peak = {row.id: row.quantities["impulse"].value for row in strikes_of(small_lab)}
    there = rows_of(small_client.get(f"{PATH}?sort=impulse&down=1").text)
    assert there == sorted(peak, key=lambda id: -peak[id])
    middle = sorted(peak.values())[1]
    some = rows_of(small_client.get(f"{PATH}?limit=impulse:{middle}:").text)
    assert sorted(some) == sorted(id for id, value in peak.items() if value >= middle)


def test_the_form_of_filters_leads_to_a_clean_address(small_client):
    answer = small_client.get(f"{PATH}?person=P02&type=*&side=*&state=*&flag=*&peak=100,5&strike=4")
    assert answer.status_code == 303
    told = answer.headers["location"]
    assert "person=P02" in told
    assert "strike=4" in told
    assert "limit=peak_force%3A100.5%3A" in told
    assert "*" not in told
    assert "peak=" not in told.replace("limit=peak_force", "")


def test_a_filter_of_nonsense_is_said_and_shows_everything(small_client):
    answer = small_client.get(f"{PATH}?peak=heavy")
    assert answer.status_code == 422
    assert "expected peak_force:lowest:highest in numbers" in answer.text
    assert len(rows_of(answer.text)) == 4
    assert 'value="heavy"' in answer.text
    assert small_client.get(f"{PATH}?sort=loudness").status_code == 422


def test_a_session_never_shows_strikes_of_another():
    asked = asked_of(QueryParams("session=S1&state=waiting"), "S2")
    assert asked.strike_filter.sessions == ("S2",)
    assert asked.pairs == (("state", "waiting"),)


def test_counts_stand_beside_every_filter(small_client):
    page = small_client.get(PATH).text
    assert "P02 (4)" in page
    assert "cross (4)" in page
    assert "4 of 4 shown" in page


def test_an_unknown_session_and_strike_are_words(small_client):
    assert "There is no session" in small_client.get("/sessions/S99").text
    assert small_client.get("/sessions/S99/large").status_code == 404
    assert small_client.get(f"{PATH}/review?strike=1").status_code == 404  # a strike of S1


def test_the_selected_strike_is_drawn_with_its_doubts_in_words(small_client):
    small_client.get(f"{PATH}/peek?strike=5&make=1")  # whoever was erased before took the cache along
    page = small_client.get(f"{PATH}?strike=5").text
    assert 'role="img" aria-label="Strike 2.' in page
    assert '<path class="raw"' in page
    shapes = small_client.get(f"{PATH}/shapes?strike=5").text
    assert shapes.count('class="spark"') == 4


def test_reports_are_made(small_client):
    answer = small_client.get(f"{PATH}/report.html")
    assert answer.status_code == 200
    assert "session-S2" in answer.headers["content-disposition"]
    assert small_client.get(f"{PATH}/report.docx").status_code == 404


# -- forms


def test_a_session_is_made_edited_and_planned(small_client, small_lab):
    form = {"csrf": token(small_client, "/sessions"), "code": "S-web", "title": "By hand",
            "when": "2026-11-25 18:00+01:00"}  # fmt: skip
    assert small_client.post("/sessions", data=form).headers["location"] == "/sessions/S-web"
    page = small_client.get("/sessions/S-web").text
    assert "No recording yet." in page
    again = small_client.post("/sessions", data=form)
    assert again.status_code == 409
    assert "By hand" in again.text
    edit = {
        "csrf": token(small_client, "/sessions/S-web/edit"),
        "title": "Other",
        "when": "noon",
        "changes": 0,
    }
    answer = small_client.post("/sessions/S-web/edit", data=edit)
    assert answer.status_code == 422
    assert "expected a time as" in answer.text
    assert 'value="Other"' in answer.text
    plan = {
        "csrf": token(small_client, "/sessions/S-web/plan"), "people": "P01, P02", "changes": 0,
        "conditions": "cross right\njab", "repetitions": "2", "rest": "5", "rest_between_blocks": "60",
        "warm_ups": "0", "seed": "4",
    }  # fmt: skip
    assert small_client.post("/sessions/S-web/plan", data=plan | {"rest": "long"}).status_code == 422
    assert small_client.post("/sessions/S-web/plan", data=plan).status_code == 303
    with Lab.open(small_lab) as lab:
        record = show_session(lab, "S-web")
    assert record.when == datetime(2026, 11, 25, 17, tzinfo=UTC)
    assert record.protocol == Protocol(
        ("P01", "P02"), (Condition("cross", "right"), Condition("jab")), repetitions=2, rest=5.0, seed=4
    )
    assert "[ ]" in small_client.get("/sessions/S-web/sheet.txt").text
    assert "has no strikes" in small_client.get("/sessions/S-web/tag").text


def test_tagging_shows_first_what_it_would_do(small_client, small_lab):
    plan = {
        "csrf": token(small_client, f"{PATH}/plan"), "people": "P02", "conditions": "cross right",
        "repetitions": "4", "rest": "5", "rest_between_blocks": "5", "warm_ups": "0", "seed": "1",
    }  # fmt: skip
    assert small_client.post(f"{PATH}/plan", data=plan).status_code == 303
    page = small_client.get(f"{PATH}/tag").text
    assert "4 of 4 strikes would be told" in page
    assert all(row.series is None for row in strikes_of(small_lab))
    done = small_client.post(f"{PATH}/tag", data={"csrf": token(small_client, f"{PATH}/tag")})
    assert "4 strikes were told" in done.text
    assert all(row.series == 1 for row in strikes_of(small_lab))


# -- roles


def test_a_viewer_looks_and_an_operator_reviews(small_lab):
    with serving(small_lab, access()) as address, httpx.Client(base_url=address, timeout=60) as client:
        sign_in(client, Role.VIEWER)
        page = client.get(PATH).text
        assert len(rows_of(page)) == 4
        assert 'value="accept"' not in page
        assert client.get(f"{PATH}/review").status_code == 403
        form = {"csrf": token(client, PATH), "code": "S-never"}
        assert client.post("/sessions", data=form).status_code == 403
        assert client.get(f"{PATH}/large").status_code == 200


# -- large mode


def test_large_mode_changes_only_when_something_did(small_client):
    page = small_client.get(f"{PATH}/large").text
    address = re.search(r'hx-get="([^"]+)"', page)[1].replace("&amp;", "&")
    assert small_client.get(address).status_code == 204
    assert small_client.get(f"{PATH}/large/now?state=older").status_code == 200
    assert page.count('class="row"') == 4


def test_an_overload_stops_until_somebody_answers(small_client, small_lab):
    with Lab.open(small_lab) as lab, lab.writing("tester") as writer:
        strike = writer.database.scalar(
            select(Strike).where(Strike.session_id == 2).order_by(Strike.position.desc()).limit(1)
        )
        result = writer.database.get(Result, strike.result_id)
        id, before, result.codes = strike.id, result.codes, f"{result.codes} overload".strip()
        strike.note = strike.note + "."
    try:
        page = small_client.get(f"{PATH}/large").text
        assert "Stop. The cell was overloaded." in page
        assert "the last sound one" in page
        assert "Stop. The cell was overloaded" in small_client.get(PATH).text
        assert "overloaded a cell" in small_client.get("/").text
        form = {"csrf": token(small_client, f"{PATH}/large"), "strikes": id}
        assert small_client.post(f"{PATH}/large/checked", data=form).status_code == 303
        assert "Stop." not in small_client.get(f"{PATH}/large").text
        assert "the rig was checked since" in small_client.get(PATH).text
        with Lab.open(small_lab) as lab:
            entry = list_audit(lab, AuditFilter(action="answer stop")).entries[0]
        assert entry.after == {"strikes": [id]}
    finally:
        with Lab.open(small_lab) as lab, lab.writing("tester") as writer:
            writer.database.get(Result, result.id).codes = before
            row = writer.database.get(Strike, id)
            row.note = row.note[:-1]


@pytest.mark.parametrize(
    ("value", "expanded", "told"),
    [
        (38.42, 0.41, ("38.4", "0.5")),
        (3216.0, 48.0, ("3\u202f220", "50")),
        (5.0, 0.96, ("5", "1")),
        (5.04, 0.1, ("5.0", "0.1")),
        (12.3, None, ("12.3", "?")),
    ],
)
def test_uncertainty_is_rounded_up_for_the_far_side_of_a_room(value, expanded, told):
    assert _rounded_up(value, expanded) == told


# -- in a browser


@pytest.mark.parametrize("dark", [False, True])
def test_no_serious_fault_of_accessibility(small_browser, dark):
    for path in ("/", "/sessions", PATH, f"{PATH}/large", f"{PATH}/plan", f"{PATH}/tag"):
        page = small_browser.page(path, dark=dark)
        page.wait_for_load_state("networkidle")
        assert small_browser.faults(page) == [], path


def test_the_selection_moves_by_keys_and_is_in_the_address(small_browser, small_lab):
    ids = [row.id for row in strikes_of(small_lab)]
    page = small_browser.page(f"{PATH}?strike={ids[0]}")
    page.wait_for_selector("#shapes svg.spark")
    page.keyboard.press("j")
    page.wait_for_selector("#peek h2:has-text('Strike 2')")
    assert page.get_attribute("tr.sel", "data-strike") == str(ids[1])
    page.wait_for_function(f"location.search.includes('strike={ids[1]}')")
    page.click(f"[data-shape='{ids[3]}']")
    page.wait_for_selector("#peek h2:has-text('Strike 4')")
    page.select_option("select[name=state]", "waiting")
    page.wait_for_url("**state=waiting*")


def test_chosen_strikes_go_to_the_overlay(small_browser):
    page = small_browser.page(PATH)
    for box in page.query_selector_all(".pick input")[:2]:
        box.check()
    page.click("text=Overlay the chosen")
    page.wait_for_url("**/overlay?strikes=*")


def test_a_session_is_readable_without_scripts(small_browser):
    page = small_browser.page(PATH, java_script_enabled=False)
    assert page.is_visible("#peek svg.plot")
    page.click("#shapes noscript a")
    assert page.locator("#shapes svg.spark").count() == 4


@pytest.mark.parametrize("width", [820, 1920])
def test_pages_are_not_wider_than_their_window(small_browser, width):
    for path in ("/", PATH, f"{PATH}/large"):
        page = small_browser.page(path, width=width)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
