"""People in the app: by code, with what identifies them apart, their own copy, and erasing."""

from __future__ import annotations

import io
import json
import zipfile

import httpx
import pytest

from quintain.store.lab import Lab
from quintain.tasks.people import add_person, show_person
from quintain.web.security.roles import Role
from web_server import access, serving, sign_in, token


def post(client, path, **fields):
    return client.post(path, data={"csrf": token(client, path), **fields})


@pytest.fixture
def somebody(small_lab):
    """A person of no strikes, whom a test may do anything to."""
    with Lab.open(small_lab) as lab:
        known = {row.code for row in _people(lab)}
        code = next(f"T{i}" for i in range(1, 50) if f"T{i}" not in known)
        add_person(lab, code, identity={"name": "Ada Invented"}, who="tester", body_mass=70.0)
    return code


def _people(lab):
    from quintain.store.queries_lists import list_people

    return list_people(lab)


def test_people_stand_in_the_order_of_their_codes(small_client):
    page = small_client.get("/people").text
    assert page.index(">P01<") < page.index(">P02<")


def test_a_person_is_added_and_nonsense_comes_back_with_words(small_client, small_lab):
    form = {"code": "P-web", "body_mass": "71,5", "height": "176", "side": "left"}
    answer = post(small_client, "/people", **form)
    assert answer.status_code == 422
    assert "height must lie from 0.5 to 2.6 m, got 176 m" in answer.text.replace("Height", "height")
    assert 'value="71,5"' in answer.text
    answer = post(small_client, "/people", **form | {"height": "1.76"})
    assert answer.headers["location"] == "/people/P-web"
    assert "71.5 kg" in small_client.get("/people/P-web").text
    assert post(small_client, "/people", code="p-WEB").status_code == 409
    late = post(small_client, "/people/P-web/edit", new_code="P-web", changes=7, body_mass="80")
    assert late.status_code == 409
    assert 'value="80"' in late.text
    assert post(small_client, "/people/P-web/edit", new_code="P-app", changes=0).status_code == 303
    with Lab.open(small_lab) as lab:
        assert show_person(lab, "P-app").facts.body_mass is None


def test_what_a_person_struck_and_why_progress_waits(small_client):
    page = small_client.get("/people/P02").text
    assert "cross, right" in page
    assert "one session so far; progress needs a second one" in page
    assert "Strikes that wait for review are counted" in page
    assert small_client.get("/people/P99").status_code == 404


def test_a_name_stands_on_its_own_page_alone(small_client, somebody):
    assert "Ada Invented" not in small_client.get(f"/people/{somebody}").text
    assert "Ada Invented" not in small_client.get("/people").text
    page = small_client.get(f"/people/{somebody}/identity")
    assert "Ada Invented" in page.text
    assert page.headers["cache-control"] == "no-store"
    answer = post(small_client, f"/people/{somebody}/identity", name="Ada Invented", born="last May")
    assert answer.status_code == 422
    assert 'value="last May"' in answer.text


def test_their_own_copy_holds_what_the_lab_holds(small_client, somebody):
    answer = small_client.get(f"/people/{somebody}/export.zip")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
        told = json.loads(packed.read(f"{somebody}/person.json"))
        assert f"{somebody}/strikes.csv" in packed.namelist()
    assert "Ada Invented" in json.dumps(told)


def test_erasing_takes_typing_the_code_and_says_what_remains(small_client, small_lab, somebody):
    path = f"/people/{somebody}/erase"
    answer = post(small_client, path, typed_code="yes")
    assert answer.status_code == 422
    assert f"Type {somebody} to erase" in answer.text
    with Lab.open(small_lab) as lab:
        assert show_person(lab, somebody, identity=True).identity.name == "Ada Invented"
    answer = post(small_client, path, typed_code=somebody)
    assert "What remains" in answer.text
    assert "copies made elsewhere" in answer.text
    with Lab.open(small_lab) as lab:
        kept = show_person(lab, somebody, identity=True)
    assert kept.erased is not None
    assert kept.identity is None or not kept.identity.name
    assert "erased" in small_client.get("/people").text


def test_only_engineers_see_who_it_is(small_lab, somebody):
    with serving(small_lab, access()) as address, httpx.Client(base_url=address, timeout=60) as client:
        sign_in(client, Role.OPERATOR)
        page = client.get(f"/people/{somebody}").text
        assert "Identity" not in page
        for part in ("identity", "edit", "erase", "export.zip"):
            assert client.get(f"/people/{somebody}/{part}").status_code == 403
        form = {"csrf": token(client, "/people"), "code": "P-never"}
        assert client.post("/people", data=form).status_code == 403


@pytest.mark.parametrize("dark", [False, True])
def test_no_serious_fault_of_accessibility(small_browser, dark):
    for path in ("/people", "/people/P02", "/people/P02/identity", "/people/P02/erase"):
        page = small_browser.page(path, dark=dark, width=820 if dark else 1280)
        assert small_browser.faults(page) == [], path
