"""Strikes and drops over each other, and methods against each other, in the app."""

from __future__ import annotations

import math
import re

import httpx
import pytest

from quintain.domain.measured import Measured
from quintain.domain.strike import ForceCurve
from quintain.store.lab import Lab
from quintain.store.results import load_strike
from quintain.tasks.overlay import Overlaid, differences
from quintain.web.security.roles import Role
from web_server import access, serving, sign_in, token


def overlaid(**values):
    told = {name: Measured(name, value, u) for name, (value, u) in values.items()}
    return Overlaid(1, None, 1, ForceCurve.nothing(), None, told, (), "")


def test_differences_stand_beside_the_uncertainty_of_both():
    # JCGM 100:2008, 5.1.2: u of a difference of independent values is the root of the sum of squares
    first = overlaid(impulse=(40.0, 0.3), peak_force=(3000.0, 30.0), energy=(100.0, None))
    other = overlaid(impulse=(41.0, 0.4), peak_force=(3090.0, 40.0), energy=(120.0, 1.0))
    found = differences(first, other, ("impulse", "peak_force", "energy", "contact_time"))
    change, beyond = found["impulse"]
    assert change.value == pytest.approx(1.0)
    assert change.u == pytest.approx(math.hypot(0.3, 0.4))
    assert beyond is True  # 1.0 against 1.96 * 0.5 = 0.98
    assert found["peak_force"][1] is False  # 90 against 1.96 * 50 = 98
    assert found["energy"][1] is None
    assert "contact_time" not in found


def test_chosen_strikes_side_by_side(small_client, small_lab):
    page = small_client.get("/overlay?strikes=1&strikes=2,3").text
    assert page.count('href="/strikes/') == 3
    assert "Less the first" in page
    spec = small_client.get("/overlay/charts.json?strikes=1,2,3").json()
    force = spec["charts"][0]["series"]
    assert [s["kind"] for s in force] == ["raw"] * 3 + ["corrected"] * 3
    assert [s["mark"] for s in force[3:]] == [1, 2, 3]
    assert all(s["x"][0] < 0 < s["x"][-1] for s in force)  # contact is at 0 for all
    bare = small_client.get("/overlay/charts.json?strikes=1,2,3&raw=0").json()["charts"][0]["series"]
    assert [s["kind"] for s in bare] == ["corrected"] * 3
    with Lab.open(small_lab) as lab:
        peaks = [load_strike(lab, id).quantities["peak_force"].value for id in (1, 2)]
    assert peaks[1] > peaks[0]
    row = re.search(r"2 − 1</th>.*?</tr>", page, re.S)[0]
    assert "beyond uncertainty" in row


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("strikes=1,two", "“two” is no strike"),
        ("strikes=1-40", "Only the first 12"),
        ("strikes=1&drops=x", "“x” is no drop"),
        ("strikes=1&mass=heavy", "expected a number of kilograms"),
    ],
)
def test_nonsense_is_said_and_what_can_be_read_is_kept(small_client, query, words):
    page = small_client.get(f"/overlay?{query}")
    assert page.status_code == 422
    assert words in page.text
    assert 'href="/strikes/1"' in page.text


def test_what_is_not_in_the_lab_is_said(small_client):
    page = small_client.get("/overlay?strikes=1,999&drops=7.1")
    assert "There is no strike 999" in page.text
    assert "no drop test 7" in page.text


def test_ways_to_pick(small_client):
    both = small_client.get("/overlay/pick?what=people&person=P01&second=P02")
    strikes = re.search(r"strikes=([\d,]+)", both.headers["location"])[1].split(",")
    assert len(strikes) == 6
    assert set(strikes) >= {"1", "2", "3"}
    for query, words in [
        ("what=people&person=P01&second=P01", "two strikers are two people"),
        ("what=days&person=P01", "two days need two sessions"),
        ("what=people&person=P01&second=P02&type=jab", "P02 has no jab"),
        ("what=luck", "choose one person"),
    ]:
        refused = small_client.get(f"/overlay/pick?{query}")
        assert refused.status_code == 422
        assert words.lower() in refused.text.lower()


@pytest.mark.parametrize("dark", [False, True])
def test_overlay_in_a_browser(small_browser, dark):
    page = small_browser.page("/overlay?strikes=1,2,3", dark=dark)
    page.wait_for_selector("#curves[data-drawn]", timeout=30_000)
    assert small_browser.faults(page) == []
    page.click("text=Hide raw traces")
    page.wait_for_url("**raw=0**")


def test_ways_to_pick_in_a_browser(small_browser):
    assert small_browser.faults(small_browser.page("/overlay")) == []


# -- methods


def hashes(client):
    page = client.get("/methods").text
    return {name: sha for sha, name in re.findall(r'<tr id="(\w+)"><th scope="row">(\w+)', page)}


def test_two_methods_on_the_same_strikes(small_client, small_lab):
    known = hashes(small_client)
    query = f"first={known['standard']}&second={known['unrefined']}&quantity=peak_force"
    page = small_client.get(f"/methods?{query}").text
    assert "correction.refine True → False" in page
    assert "<svg" in re.search(r'<figure class="drawn">.*?</figure>', page, re.S)[0]
    told = small_client.get(f"/methods/compared.json?{query}").json()
    assert [one["strike"] for one in told["strikes"]] == [1, 2, 3]
    # bias by hand: mean of first less second
    by_hand = sum(one["first"] - one["second"] for one in told["strikes"]) / 3
    assert told["limits_of_agreement"]["bias"] == pytest.approx(by_hand, rel=1e-9)
    with Lab.open(small_lab) as lab:
        assert told["strikes"][0]["second"] == load_strike(lab, 1).quantities["peak_force"].value


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("first=ffff&second=eeee", "no method"),
        ("by=software&first=0.0.1&second=0.0.2", "made no result"),
        ("by=weather&first=1&second=2", "not &#39;weather&#39;"),
    ],
)
def test_comparisons_that_cannot_be_made(small_client, query, words):
    page = small_client.get(f"/methods?{query}")
    assert page.status_code == 422
    assert words in page.text


def test_against_itself_and_unknown_quantities(small_client):
    one = hashes(small_client)["standard"]
    assert "against itself" in small_client.get(f"/methods?first={one}&second={one}").text
    assert "has no" in small_client.get(f"/methods?first={one}&second={one}&quantity=beauty").text


def test_a_new_method_is_kept_once_and_nonsense_comes_back(small_client):
    def keep(text):
        return small_client.post("/methods", data={"csrf": token(small_client, "/methods"), "settings": text})

    wrong = keep('name = "loud"\n[detection]\nminimum_force = "much"')
    assert wrong.status_code == 422
    assert "minimum_force" in wrong.text
    assert "much" in wrong.text
    taken = keep('name = "standard"\nversion = 1\n[detection]\nminimum_force = 99.0')
    assert taken.status_code == 422
    assert "give this one version 2" in taken.text
    kept = keep('name = "loud"\r\n[detection]\r\nminimum_force = 99.0\r\n')
    assert kept.status_code == 303
    assert "loud" in hashes(small_client)
    assert "minimum_force = 99" in small_client.get(f"/methods/{hashes(small_client)['loud']}.toml").text


def test_an_operator_keeps_no_methods(small_lab):
    with serving(small_lab, access()) as address, httpx.Client(base_url=address, timeout=60) as client:
        sign_in(client, Role.OPERATOR)
        assert 'id="new"' not in client.get("/methods").text
        form = {"csrf": token(client, "/methods"), "settings": 'name = "x"'}
        assert client.post("/methods", data=form).status_code == 403


@pytest.mark.parametrize("dark", [False, True])
def test_methods_in_a_browser(small_browser, small_client, dark):
    known = hashes(small_client)
    page = small_browser.page(f"/methods?first={known['standard']}&second={known['unrefined']}", dark=dark)
    assert small_browser.faults(page) == []
