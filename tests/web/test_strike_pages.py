"""A strike in the app: numbers and doubts, review, the way back to the bytes, by HTTP and in a browser."""

from __future__ import annotations

import csv
import io
import json
import re

import httpx
import pytest
from starlette.datastructures import QueryParams

from quintain.errors import UsageError
from quintain.store.lab import Lab
from quintain.store.queries import strike_page
from quintain.store.results import load_strike
from quintain.web.chosen import chosen_of
from quintain.web.security.roles import Role
from web_server import access, serving, sign_in, token

STRUCK, MOVED = 1, 4
"""A strike of the rig that rings, and one with the limb's motion."""


def act(client, strike, action, changes=None, **fields):
    path = f"/strikes/{strike}"
    page = client.get(path).text
    seen = re.search(r'name="changes" value="(\d+)"', page)[1] if changes is None else changes
    form = {"csrf": token(client, path), "action": action, "changes": seen, **fields}
    return client.post(f"{path}/review", data=form)


def state_of(folder, strike):
    with Lab.open(folder) as lab:
        row = next(r for r in strike_page(lab, limit=50).rows if r.id == strike)
    return row.state, row.reason, row.note


# -- numbers


def test_every_stated_number_and_why_others_are_not(small_client, small_lab):
    page = small_client.get(f"/strikes/{MOVED}").text
    with Lab.open(small_lab) as lab:
        strike = load_strike(lab, MOVED)
    assert page.count('class="val"') + page.count('class="val ') > len(strike.quantities)
    # peak force is withheld for a pulse shorter than the rig's own period, and the row says so
    row = re.search(r"Peak force on the cell.*?</tr>", page, re.S)[0]
    assert "not stated" in row
    assert "pulse-short-for-rig" in row
    assert "With doubt" in re.search(r"<h1>.*?</h1>", page, re.S)[0]


def test_an_absent_motion_is_said(small_client):
    page = small_client.get(f"/strikes/{STRUCK}").text
    row = re.search(r"Approach speed.*?</tr>", page, re.S)[0]
    assert "not stated" in row
    assert "no motion of the limb was recorded" in row


def test_budget_of_another_quantity_keeps_the_filter(small_client):
    page = small_client.get(f"/strikes/{STRUCK}?session=S1&quantity=impulse").text
    assert "What makes impulse, whole event uncertain" in page
    assert "/strikes/2?session=S1" in page.replace("&amp;", "&")
    assert "First to improve" in page


def test_files_hold_the_unrounded_numbers(small_client, small_lab):
    with Lab.open(small_lab) as lab:
        strike = load_strike(lab, STRUCK)
    table = small_client.get(f"/strikes/{STRUCK}/quantities.csv")
    rows = {row["quantity"]: row for row in csv.DictReader(io.StringIO(table.text))}
    assert float(rows["impulse"]["value"]) == strike.quantities["impulse"].value
    assert rows["effective_mass"]["value"] == ""
    told = json.loads(small_client.get(f"/strikes/{STRUCK}/strike.json").content)
    assert told["result"]["peak_force"]["value"] == strike.quantities["peak_force"].value
    assert "raw, N" in told["curves"]
    curves = list(csv.DictReader(io.StringIO(small_client.get(f"/strikes/{STRUCK}/curves.csv").text)))
    assert {row["curve"] for row in curves} == {"raw", "corrected"}
    # the largest sample of the file is the stated peak of the raw trace
    raw = max(float(row["value"]) for row in curves if row["curve"] == "raw")
    assert raw == strike.quantities["peak_force_raw"].value


def test_charts_share_one_axis_and_say_where_the_limb_stops(small_client):
    spec = small_client.get(f"/strikes/{MOVED}/charts.json").json()
    assert [chart["title"] for chart in spec["charts"]] == ["Force on the cell", "Speed", "Power"]
    labels = [event["label"] for event in spec["charts"][0]["events"]]
    assert "limb stops" in labels
    assert labels[0].endswith("starts")
    assert all(chart["events"][0]["at"] == spec["charts"][0]["events"][0]["at"] for chart in spec["charts"])


def test_what_is_not_there_is_said_in_words(small_client):
    gone = small_client.get("/strikes/999")
    assert gone.status_code == 404
    assert "There is no strike 999" in gone.text
    wrong = small_client.get(f"/strikes/{STRUCK}?state=asleep")
    assert wrong.status_code == 422
    assert "asleep" in wrong.text


# -- the way back


def test_the_way_back_to_the_bytes(small_client, small_lab):
    page = small_client.get(f"/strikes/{STRUCK}").text
    with Lab.open(small_lab) as lab:
        row = next(r for r in strike_page(lab).rows if r.id == STRUCK)
    assert row.recording_sha256 in page
    assert "blow_000.csv" in page
    assert "wall (invented)" in page
    assert "tester" in page
    # two methods analysed it, and the page says in which setting they differ
    assert page.count("unrefined 1") >= 1
    assert re.search(r"What changed on .*correction\.refine True → False", page)


def test_made_again_bit_for_bit(small_client):
    page = small_client.get(f"/strikes/{STRUCK}").text
    analysis = re.search(r'name="again" value="(\d+)"', page)[1]
    again = small_client.get(f"/strikes/{STRUCK}?again={analysis}").text
    assert "Bit for bit the same" in again
    assert "Bit for bit" not in small_client.get(f"/strikes/{STRUCK}?again=999").text


# -- review


def test_review_and_undo(small_client, small_lab):
    assert act(small_client, 2, "accept").headers["location"] == "/strikes/2"
    assert state_of(small_lab, 2)[0] == "accepted"
    assert act(small_client, 2, "note", note="a clean one").status_code == 303
    assert act(small_client, 2, "undo").status_code == 303
    assert act(small_client, 2, "undo").status_code == 303
    assert state_of(small_lab, 2) == ("waiting", "", "")


def test_reject_needs_a_reason_and_says_so(small_client, small_lab):
    refused = act(small_client, 3, "reject")
    assert refused.status_code == 422
    assert "rejected for a reason" in refused.text
    act(small_client, 3, "reject", reason="hit the edge")
    assert state_of(small_lab, 3)[:2] == ("rejected", "hit the edge")
    act(small_client, 3, "undo")
    assert state_of(small_lab, 3)[0] == "waiting"


def test_whoever_was_faster_is_told_and_nothing_typed_is_lost(small_client, small_lab):
    stale = act(small_client, 2, "note", changes="0", note="typed in vain?")
    assert stale.status_code == 409
    assert "was changed since you looked at it" in stale.text
    assert "typed in vain?" in stale.text
    assert state_of(small_lab, 2)[2] == ""


@pytest.mark.parametrize(
    "fields", [{"series": "two"}, {"type": "somersault"}, {"side": "up"}, {"person": "P99"}]
)
def test_tags_that_are_none_are_refused_in_words(small_client, fields):
    tags = {"person": "P01", "type": "jab", "side": "", "series": ""} | fields
    refused = act(small_client, 2, "retag", **tags)
    assert refused.status_code == 422
    assert next(iter(fields.values())) in refused.text


def test_a_viewer_looks_and_may_not_review(small_lab):
    with serving(small_lab, access()) as address, httpx.Client(base_url=address, timeout=60) as client:
        sign_in(client, Role.VIEWER)
        page = client.get(f"/strikes/{STRUCK}").text
        assert 'value="accept"' not in page
        form = {"csrf": token(client, f"/strikes/{STRUCK}"), "action": "accept"}
        assert client.post(f"/strikes/{STRUCK}/review", data=form).status_code == 403


# -- the filter in the address


def test_a_filter_is_read_and_kept():
    chosen = chosen_of(
        QueryParams("session=S1&state=waiting&limit=peak_force:100:&sort=when&down=1&quantity=x")
    )
    assert chosen.filter.sessions == ("S1",)
    assert chosen.filter.limits[0].low == 100.0
    assert chosen.descending
    assert "quantity" not in chosen.query
    assert chosen_of(QueryParams("sort=when")).filter is None


@pytest.mark.parametrize(
    "query", ["sort=beauty", "series=two", "since=yesterday", "limit=beauty:1:2", "limit=energy:a:"]
)
def test_nonsense_in_a_filter_is_said(query):
    with pytest.raises(UsageError, match=r"beauty|two|yesterday|energy"):
        chosen_of(QueryParams(query))


# -- in a browser


def ready(page):
    page.wait_for_selector("#curves[data-drawn]", timeout=30_000)
    return page


@pytest.mark.parametrize("dark", [False, True])
def test_no_serious_fault_of_accessibility(small_browser, dark):
    page = ready(small_browser.page(f"/strikes/{MOVED}", dark=dark))
    assert small_browser.faults(page) == []


def test_the_keyboard_is_enough(small_browser, small_lab):
    page = ready(small_browser.page("/strikes/2?session=S1"))
    page.keyboard.press("ArrowRight")
    assert "corrected" in page.inner_text("#curves .readout")
    page.keyboard.press("j")
    page.wait_for_url("**/strikes/3?session=S1")
    page.keyboard.press("k")
    page.wait_for_url("**/strikes/2?session=S1")
    page.keyboard.press("r")
    page.keyboard.type("a test of keys")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=a test of keys")
    assert state_of(small_lab, 2)[0] == "rejected"
    page.keyboard.press("u")
    page.wait_for_selector("#open-reject")
    assert state_of(small_lab, 2)[0] == "waiting"


def test_a_definition_is_shown_on_focus(small_browser):
    page = ready(small_browser.page(f"/strikes/{STRUCK}"))
    page.focus(".qty th[data-definition] >> nth=0")
    assert "Integral of the force" in page.inner_text("#definition")


def test_without_scripts_numbers_and_forms_stand(small_browser, small_lab):
    page = small_browser.page(f"/strikes/{STRUCK}", java_script_enabled=False)
    assert page.locator(".qty tr").count() > 5
    page.fill("#reason-plain", "no scripts here")
    page.click("noscript button, form button[value=reject]")
    assert state_of(small_lab, STRUCK)[:2] == ("rejected", "no scripts here")
    page.click("#undo")
    assert state_of(small_lab, STRUCK)[0] == "waiting"
