"""What is learned of a recording after its import is stated in the app, with and without scripts."""

from __future__ import annotations

import re
import shutil

import httpx
import pytest
from sqlalchemy import select

from quintain.store.lab import Lab
from quintain.store.schema import Audit, Recording, Source
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.lab_views import recording_view
from quintain.web.security.roles import Role
from simulated_lab import write_force_and_motion
from web_server import access, serving, sign_in, token


@pytest.fixture
def folder(small_lab, tmp_path):
    """A copy of the small lab that a test may change: force.csv of session S2 has its motion."""
    shutil.copytree(small_lab, tmp_path / "lab")
    return tmp_path / "lab"


@pytest.fixture
def client(folder):
    with serving(folder) as address, httpx.Client(base_url=address, timeout=60) as client:
        yield client


def told(folder, name="force.csv"):
    with Lab.open(folder) as lab:
        return recording_view(lab, name)


def form_of(page):
    """Fields of the form as a browser would send them unchanged."""
    form = re.search(r'<form class="guide".*?</form>', page, re.S)[0]
    fields = dict(re.findall(r'<input[^>]*name="(\w+)"[^>]*? value="([^"]*)"', form))
    fields |= dict(re.findall(r'<textarea[^>]*name="(\w+)"[^>]*>([^<]*)<', form))
    for name, options in re.findall(r'<select[^>]*name="(\w+)"[^>]*>(.*?)</select>', form, re.S):
        fields[name] = next(iter(re.findall(r'value="([^"]*)" selected', options)), "")
    return fields


def send(client, path, files=(), **changed):
    fields = form_of(client.get(path).text) | changed
    csrf = fields.pop("csrf")
    parts = [("csrf", (None, csrf)), *((name, (None, text)) for name, text in fields.items()), *files]
    return client.post(path, files=parts)


def path_of(folder, name="force.csv"):
    return f"/recordings/{told(folder, name).row.sha256}/state"


def test_what_is_stated_stands_in_the_form_and_unchanged_changes_nothing(client, folder):
    path = path_of(folder)
    fields = form_of(client.get(path).text)
    assert (fields["motion"], fields["person"], fields["type"], fields["side"]) == (
        "motion.csv", "P02", "cross", "right",
    )  # fmt: skip
    assert (fields["session"], fields["changes"]) == ("S2", "0")
    answer = send(client, path)
    assert (answer.status_code, answer.headers["location"]) == (303, path.removesuffix("/state"))
    assert told(folder).changes == 0


def test_a_wrong_offset_is_mended_and_the_page_says_what_that_means(client, folder):
    path = path_of(folder)
    answer = send(client, path, offset="-100+-0.3", side="left")
    assert answer.status_code == 422
    assert "covers nothing of force.csv" in answer.text
    assert 'value="-100+-0.3"' in answer.text  # nothing typed is lost
    assert form_of(answer.text)["side"] == "left"
    assert told(folder).changes == 0
    late = form_of(client.get(path).text)["changes"]
    assert send(client, path, offset="100+-0.3").status_code == 303
    seen = told(folder)
    assert (dict(seen.alignment), seen.changes) == ({"offset": "100+-0.3"}, 1)
    page = client.get(path.removesuffix("/state")).text
    assert "It is out of date: what is stated of it changed: how motion and force belong together." in page
    assert "Analyse anew" in page
    refused = send(client, path, changes=late, offset="100+-0.4")
    assert refused.status_code == 409
    assert "Nothing was written; look again" in refused.text
    with Lab.open(folder) as lab:
        analyse_lab(lab, who="tester")
        with lab.reading() as database:
            (noted,) = database.scalars(select(Audit).where(Audit.action == "state"))
    assert (noted.before, noted.after) == ({"offset": ""}, {"offset": "100+-0.3"})
    assert "out of date" not in client.get(path.removesuffix("/state")).text


def test_speeds_of_a_table_in_place_of_the_motion(client, folder):
    path = path_of(folder)
    gates = b"first [s];second [s];spacing [m];who\r\n1,475;1,485;0,06;Ada\r\n"
    both = send(client, path, [("speeds_file", ("gates.csv", gates))])
    assert both.status_code == 422
    assert "both a motion and speeds (a motion stated before); take one of them back" in both.text.replace(
        "There would be ", ""
    )
    done = send(client, path, [("speeds_file", ("gates.csv", gates))], motion="")
    assert done.status_code == 303, done.text
    assert told(folder).speeds == "first [s];second [s];spacing [m]\n1,475;1,485;0,06\n"
    page = client.get(path.removesuffix("/state")).text
    assert "speeds stated: a table of 1 pass through two light gates 0.06 m apart" in page
    # it stands in the form, and comes back as it was
    assert send(client, path).status_code == 303
    assert told(folder).changes == 1
    bad = send(client, path, [("speeds_file", ("bad.csv", b"strike,speed\n1,8\n"))])
    assert bad.status_code == 422
    assert "column &#39;speed&#39; needs a unit" in bad.text
    assert send(client, path, speeds="").status_code == 303
    assert told(folder).speeds == ""


def test_a_motion_that_was_found_later_comes_in_with_the_form(client, folder, tmp_path):
    path = path_of(folder)
    _, motion = write_force_and_motion(tmp_path, pulse=0.5)
    lost = send(
        client, path, [("motion_file", ("../wrist of Ada.csv", b"time_s,ax_m/s2\n0,1\n1,1\n"))], motion=""
    )
    assert lost.status_code == 422
    assert "The motion wrist of Ada.csv lasts 2 s, the strikes of force.csv 7.8 s" in lost.text
    assert "/arrived/" not in lost.text
    none = send(client, path, [("motion_file", ("wrist.bin", b"\x00\x01"))], motion="", changes="9" * 5000)
    assert none.status_code == 409
    none = send(client, path, [("motion_file", ("wrist.bin", b"\x00\x01"))], motion="", offset="1+-0.1")
    assert none.status_code == 422
    assert "Wrist.bin: " in none.text
    assert "/arrived/" not in none.text
    done = send(
        client, path, [("motion_file", ("wrist.csv", motion.read_bytes()))], motion="", offset="100+-0.3"
    )
    assert done.status_code == 303, done.text
    with Lab.open(folder) as lab, lab.reading() as database:
        row = database.scalars(select(Recording).where(Recording.name == "wrist.csv")).one()
        assert (row.kind, row.type, row.side) == ("motion", "cross", "right")
        (source,) = database.scalars(select(Source.path).where(Source.recording_sha256 == row.sha256))
        assert source == "wrist.csv (sent to the app)"
        assert database.get_one(Recording, told(folder).row.sha256).motion_sha256 == row.sha256
    assert list((folder / "cache" / "arrived").iterdir()) == []


def test_a_motion_says_only_who_and_where(client, folder):
    page = client.get(path_of(folder, "motion.csv")).text
    assert "How fast the limb was" not in page
    assert send(client, path_of(folder, "motion.csv"), person="P02").status_code == 303


def test_an_analysis_that_kept_no_clock_says_so(client, folder):
    page = f"/recordings/{told(folder).row.sha256}"
    with Lab.open(folder) as lab:
        current = next(a for a in told(folder).analyses if a.current)
        with lab.writing("an earlier version") as writer:
            from quintain.store.schema import Analysis

            row = writer.database.get_one(Analysis, current.id)
            *earlier, last = row.history
            settings = {**last["settings"], "told": dict(last["settings"]["told"])}
            del settings["told"]["alignment"]
            row.history, row.clock = [*earlier, {**last, "settings": settings}], None
    words = "Not kept by the version that made this analysis; analyse the recording anew"
    assert words in client.get(page).text


def test_a_viewer_looks_and_a_foreign_form_is_refused(folder):
    path = path_of(folder)
    with serving(folder, access()) as address, httpx.Client(base_url=address, timeout=60) as client:
        sign_in(client, Role.VIEWER)
        assert client.get(path).status_code == 403
        assert "/state" not in client.get(path.removesuffix("/state")).text
        parts = [("csrf", (None, token(client, "/import"))), ("side", (None, "left"))]
        assert client.post(path, files=parts).status_code == 403
        sign_in(client, Role.OPERATOR)
        assert client.get(path).status_code == 200
        assert client.post(path, files=[("side", (None, "left"))]).status_code == 403
    assert told(folder).changes == 0


@pytest.fixture
def tab(chromium, folder):
    from tests.web.conftest import Browser

    with serving(folder) as address:
        browser = Browser(chromium, address)
        yield browser
        browser.close()
        assert browser.errors == []
        assert browser.foreign == []


@pytest.mark.parametrize("scripts", [True, False])
def test_stated_and_taken_back_in_a_browser(tab, folder, scripts, tmp_path):
    place = f"/recordings/{told(folder).row.sha256}"
    page = tab.page(place, java_script_enabled=scripts)
    page.get_by_role("link", name="state more").click()
    page.get_by_label("Motion of the limb").fill("")
    page.get_by_label("Or speeds alone, m/s").fill("6.0+-0.2")
    page.get_by_label("Side").select_option("left")
    page.get_by_role("button", name="Keep").click()
    page.wait_for_url(f"**{place}")
    page.get_by_text("speeds stated: 6.0+-0.2").wait_for()
    page.get_by_role("button", name="Analyse anew").wait_for()
    assert told(folder).row.side == "left"
    page.get_by_role("link", name="state more").click()
    page.get_by_label("Or speeds alone, m/s").fill("fast")
    if scripts:
        tab.errors.clear()
    page.get_by_role("button", name="Keep").click()
    page.get_by_role("alert").get_by_text("Expected a speed in m/s").wait_for()
    tab.errors.clear()  # a browser reports the status 422
    assert page.get_by_label("Or speeds alone, m/s").input_value() == "fast"
    table = tmp_path / "speeds.csv"
    table.write_text("strike,speed [m/s]\n1,6\n2,6.1\n")
    page.get_by_label("Or speeds alone, m/s").fill("")
    page.get_by_label("Or a table’s file").set_input_files(table)
    page.get_by_role("button", name="Keep").click()
    page.get_by_text("speeds stated: a table of 2 speeds").wait_for()


@pytest.mark.parametrize("dark", [False, True])
def test_no_serious_fault_of_accessibility(tab, folder, dark):
    page = tab.page(path_of(folder), dark=dark, width=820 if dark else 1280)
    assert tab.faults(page) == []
