"""Rigs in the app: how they stand, and the guided tests, by HTTP and in a browser."""

from __future__ import annotations

import re
from urllib.parse import quote, unquote

import httpx
import numpy as np
import pytest
from sqlalchemy import select

import dropped_mass
from quintain.domain.as_json import drops_as_json
from quintain.domain.drop import DropSettings
from quintain.domain.rig import Rig
from quintain.store.lab import Lab
from quintain.store.schema import Evidence
from quintain.tasks.drops import analyse_drops_file
from quintain.tasks.lab_rigs import add_rig
from quintain.web.security.roles import Role
from tap_recording import write_taps
from web_server import access, serving, sign_in, token

RIG = """name = "wall & pad (invented)"
[[modes]]
natural_frequency = 200.0
damping_ratio = 0.02
u_natural_frequency = 0.05
u_damping_ratio = 0.0001
[place]
latitude = 52.5
altitude = 40
"""
NAME = "wall & pad (invented)"
PATH = f"/rigs/{quote(NAME)}"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rigs")
    (folder / "rig.toml").write_text(RIG)
    with Lab.create(folder / "lab", name="rigs", invented=True) as lab:
        add_rig(lab, folder / "rig.toml", who="t")
    return folder


@pytest.fixture(scope="module")
def server(folder):
    """The server that ``browser`` opens pages of, here with a rig."""
    with serving(folder / "lab") as address:
        yield address


@pytest.fixture
def visitor(server):
    with httpx.Client(base_url=server, timeout=120, follow_redirects=True) as client:
        yield client


@pytest.fixture(scope="module")
def drops(folder):
    """Two drops of 5 kg from half a metre, simulated."""
    motion = dropped_mass.drop(height=0.5)
    force = np.concatenate([dropped_mass.record(motion, 2000.0, seed=seed)[0] for seed in (1, 2)])
    lines = "\n".join(f"{i / 2000:.5f},{value:.3f}" for i, value in enumerate(force))
    path = folder / "drops.csv"
    path.write_text(f"time [s],force [N]\n{lines}\n")
    return path


def send(client, test, path=None, **fields):
    form = {"csrf": token(client, f"{PATH}/{test}"), **fields}
    sent = ("", b"") if path is None else (path.name, path.read_bytes())
    return client.post(f"{PATH}/{test}", data=form, files={"files": sent})


def sentence(page):
    return re.sub(r"<.*?>", "", re.search(r"<h1>.*?</h1>", page.text, re.S)[0]).strip()


def test_a_rig_that_nothing_proves_says_so_and_what_to_do(visitor):
    assert "Nothing proves this rig yet" in visitor.get("/rigs").text
    page = visitor.get(PATH)
    assert sentence(page) == "Nothing proves this rig yet."
    assert "Tap it to learn how it rings" in page.text
    assert "Falling mass" in page.text
    missing = visitor.get("/rigs/none")
    assert missing.status_code == 404
    assert "no rig" in missing.text


def test_nonsense_in_the_form_is_said_beside_its_field_and_the_recording_stays(visitor, drops):
    page = send(visitor, "drop-test", drops, mass="heavy", heights="knee", pad="foam")
    assert page.status_code == 422
    assert "&#39;heavy&#39; is no number" in page.text
    assert "&#39;knee&#39; is no height" in page.text
    assert 'value="foam"' in page.text
    assert "drops.csv is here" in page.text
    kept = re.search(r'name="arrival" value="(\w+)"', page.text)[1]
    page = send(visitor, "drop-test", arrival=kept, mass="5000", heights="0.5")
    assert page.status_code == 422
    assert "expected between 0.05 and 500 kg" in page.text
    for when, words in (("someday", "Expected a time as"), ("2999-01-01", "ahead of now")):
        page = send(visitor, "drop-test", arrival=kept, mass="5", heights="0.5", when=when)
        assert page.status_code == 422
        assert words in page.text
        assert f'value="{when}"' in page.text
    page = send(visitor, "drop-test", mass="5")
    assert "Choose the recording" in page.text
    page = send(visitor, "tap-test", drops.with_name("rig.toml"))
    assert page.status_code == 422
    assert "arrived" not in page.text, "where files lie on the server is nobody's business"


def test_app_and_command_line_say_the_same_of_a_drop_test_and_it_is_entered_once(visitor, drops, folder):
    settings = DropSettings(mass=5.0, heights=(0.5,), u_mass=0.002)
    by_hand = analyse_drops_file(drops, settings, rig=Rig.from_toml(RIG))
    page = send(visitor, "drop-test", drops, mass="5,0", u_mass="0.002", heights="0.5", pad="foam")
    assert page.status_code == 200, page.text[:2000]
    assert "2 drops" in sentence(page)
    assert "Not entered yet" in page.text
    with Lab.open(folder / "lab") as lab, lab.reading() as database:
        assert database.scalars(select(Evidence)).all() == []
    where = page.url.raw_path.decode()
    entered = visitor.post(f"{where}/enter", data={"csrf": token(visitor, where)})
    assert entered.url.path == unquote(PATH)
    assert ("Proved up to" in sentence(entered)) == (by_hand.verdict == "pass")
    with Lab.open(folder / "lab") as lab, lab.reading() as database:
        (row,) = database.scalars(select(Evidence)).all()
    assert row.answer["results"] == drops_as_json(by_hand, version="")["results"]
    assert visitor.get(where).status_code == 404, "entered tests do not wait any more"
    whole = visitor.get(f"{PATH}/evidence/{row.id}").text
    assert "Drop test: drop by drop" in whole
    assert "its numbers differ" not in whole
    part = visitor.get(f"{PATH}/evidence/{row.id}?part=true").text
    assert "<html" not in part
    assert "Drop test: the whole chain" in part
    if by_hand.verdict == "pass":
        assert "<del>" in visitor.get(PATH).text, "the versions say what changed"


def test_an_operator_may_try_and_only_an_engineer_enter(folder, tmp_path):
    taps = write_taps(tmp_path / "taps.csv", 200.0, starts=(0.6, 1.8, 3.0))
    with serving(folder / "lab", access()) as address, httpx.Client(base_url=address, timeout=120) as client:
        sign_in(client, Role.OPERATOR)
        result = send(client, "tap-test", taps)
        assert result.status_code == 303
        where = result.headers["location"]
        page = client.get(where)
        assert "rings at" in page.text
        assert "Enter into the rig" not in page.text
        form = {"csrf": token(client, where)}
        assert client.post(f"{where}/enter", data=form).status_code == 403
        assert client.post(f"{where}/discard", data=form).status_code == 303
        assert client.get(where).status_code == 404


def test_the_guided_tap_test_in_a_browser(browser, tmp_path):
    taps = write_taps(tmp_path / "taps.csv", 200.0, starts=(0.6, 1.8, 3.0))
    page = browser.page(f"{PATH}/tap-test", dark=True)
    assert browser.faults(page) == []
    page.get_by_role("button", name="Look at the taps").click()
    page.get_by_text("Choose the recording.").wait_for()  # the answer came without leaving the page
    browser.errors.clear()  # Chromium notes the 422 itself
    page.get_by_label("Recordings").set_input_files(taps)
    page.get_by_role("button", name="Look at the taps").click()
    page.wait_for_url("**/tap-test/*", timeout=60_000)
    assert "The rig rings at" in page.get_by_role("heading", level=1).inner_text()
    assert browser.faults(page) == []
    page.get_by_role("button", name="Enter into the rig's log").click()
    page.get_by_role("heading", name="Due").wait_for(timeout=60_000)
    page.get_by_role("heading", name="Tap test: how the rig rings").wait_for(timeout=60_000)
    assert browser.faults(page) == []


def test_a_rig_without_scripts_in_a_browser(browser):
    page = browser.page(PATH, java_script_enabled=False)
    assert page.get_by_role("heading", name="How it stands").is_visible()
    assert page.get_by_role("link", name="Drops", exact=True).is_visible()
