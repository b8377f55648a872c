"""Import and jobs in the app: what is sent is whole or not there, and is looked at before it is taken."""

from __future__ import annotations

import re
import socket
from datetime import UTC, datetime, timedelta
from urllib.parse import urlsplit

import httpx
import pytest
from sqlalchemy import select

from patience import wait_for
from quintain.store.lab import Lab
from quintain.store.queries_lists import list_recordings
from quintain.store.schema import Job, Source
from quintain.tasks.arrivals import arrivals_folder
from quintain.tasks.people import add_person
from quintain.web.security.roles import Role
from simulated_lab import write_recording
from web_server import access, serving, sign_in, token

CODE = re.compile(r"/import/([0-9a-f]{16})")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("import") / "lab"
    with Lab.create(folder, name="import", invented=True) as lab:
        add_person(lab, "P01", who="t")
    return folder


@pytest.fixture(scope="module")
def server(folder):
    with serving(folder) as address:
        yield address


@pytest.fixture
def visitor(server):
    with httpx.Client(base_url=server, timeout=120, follow_redirects=True) as client:
        yield client


def send(client, files, **fields):
    parts = [("files", (name, content)) for name, content in files]
    return client.post("/import", data={"csrf": token(client, "/import"), **fields}, files=parts)


def sentence(page):
    return re.sub(r"<.*?>", "", re.search(r"<h1>.*?</h1>", page.text, re.S)[0]).strip()


def ended(client, page):
    def look():
        now = client.get(page.url)
        return now if re.search(r": (done|failed)\.", sentence(now)) else None

    return wait_for(look, sentence(page))


def n_recordings(folder):
    with Lab.open(folder) as lab:
        return list_recordings(lab)[1]


def test_looked_at_mended_imported_and_known_again(visitor, folder, tmp_path):
    first = write_recording(tmp_path / "a.csv", 1).read_bytes()
    second = write_recording(tmp_path / "b.csv", 2).read_bytes()
    files = [
        ("P01_cross_1.csv", first), ("P01_cross_1.csv", second), ("P77_jab_2.csv", b"not, a\nrecording"),
        ("..", b"1"), ("P01_cross_3.csv", first),
    ]  # fmt: skip
    page = send(visitor, files, pattern="{person}_{type}_{trial}", kind="strikes", rate="fast")
    assert "expected a number for the setting &#39;rate&#39;" in page.text
    assert n_recordings(folder) == 0
    where = str(page.url)
    told = {
        "csrf": token(visitor, "/import"),
        "pattern": "{person}_{type}_{trial}",
        "kind": "strikes",
        "rate": "2000",
    }
    page = visitor.post(f"{where}/told", data=told)
    assert (
        sentence(page)
        == "5 files: 2 can be imported, 1 is in the lab already, 2 cannot be taken as they are."
    )
    assert "P77" in page.text
    assert "add it below" in page.text
    assert "--add-people" not in page.text
    assert str(folder) not in page.text
    inside = visitor.get(f"{where}/files/0")
    assert "1 channel, read to the end" in sentence(inside)
    assert n_recordings(folder) == 0
    page = ended(visitor, visitor.post(f"{where}/import", data={"csrf": told["csrf"]}))
    assert "2 recordings imported; 1 file known already; 2 files refused" in page.text
    assert n_recordings(folder) == 2
    with Lab.open(folder) as lab, lab.reading() as database:
        sources = set(database.scalars(select(Source.path)))
    assert sources == {"P01_cross_1.csv (sent to the app)", "P01_cross_3.csv (sent to the app)"}
    assert visitor.get(where).status_code == 200, "those that were refused still wait"
    assert visitor.post(f"{where}/discard", data={"csrf": told["csrf"]}).url.path == "/import"
    assert visitor.get(where).status_code == 404
    again = send(visitor, [("another name.csv", first)], rate="2000")
    assert sentence(again) == "1 file: 0 can be imported, 1 is in the lab already."
    assert "the same bytes came in as P01_cross_1.csv" in again.text


def test_a_table_says_who_and_what(visitor, folder, tmp_path):
    name = "table.csv"  # as the recording of somebody who calls all files so
    content = write_recording(tmp_path / "c.csv", 3).read_bytes()
    table = f"file,person,type\n{name},P01,hook\n"
    page = visitor.post(
        "/import",
        data={"csrf": token(visitor, "/import"), "rate": "2000"},
        files=[("files", ("r3.csv", content)), ("table", ("who.csv", table.replace(name, "r3.csv")))],
    )
    assert sentence(page) == "1 file: 1 can be imported."
    row = re.search(r"r3\.csv</a></th>.*?</tr>", page.text, re.S)[0]
    assert "P01" in row
    assert "hook" in row


def arrived(lab):
    return {place.name for place in arrivals_folder(lab).iterdir()}


def test_an_upload_cut_off_leaves_nothing(server, folder):
    with httpx.Client(base_url=server, timeout=60) as client:
        secret = token(client, "/import")
        cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
    with Lab.open(folder) as lab:
        before = arrived(lab)
        host = urlsplit(server).netloc
        body = (
            f'--x\r\nContent-Disposition: form-data; name="csrf"\r\n\r\n{secret}\r\n--x\r\n'
            'Content-Disposition: form-data; name="files"; filename="half.csv"\r\n\r\n' + "1\n" * 5000
        )
        head = (
            f"POST /import HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nContent-Length: 1000000\r\n"
            "Content-Type: multipart/form-data; boundary=x\r\n\r\n"
        )
        with socket.create_connection(tuple(host.split(":")), 60) as wire:
            wire.sendall((head + body).encode())
            wait_for(lambda: arrived(lab) > before, "the server did not begin to take the file")
        wait_for(lambda: arrived(lab) == before, "half a file was left")


def test_a_session_is_analysed_by_one_post_and_two_tabs_see_the_same(visitor, folder):
    form = {"csrf": token(visitor, "/jobs"), "kind": "analyse"}
    page = ended(visitor, visitor.post("/jobs", data=form))
    assert "analysed" in page.text
    with httpx.Client(base_url=str(visitor.base_url), timeout=60) as other:
        assert page.url.path in other.get("/jobs").text
    assert visitor.post("/jobs", data={**form, "session": "none"}).status_code == 404
    assert visitor.post("/jobs", data={**form, "kind": "magic"}).status_code == 422
    assert visitor.get("/jobs/9999").status_code == 404


def test_roles(folder):
    with serving(folder, access()) as address, httpx.Client(base_url=address, timeout=60) as client:
        sign_in(client, Role.VIEWER)
        assert client.get("/jobs").status_code == 200
        assert "Ask for work" not in client.get("/jobs").text
        assert "sign in as operator" in client.get("/import").text
        form = {"csrf": token(client, "/jobs"), "kind": "doctor"}
        assert client.post("/jobs", data=form).status_code == 403
        sign_in(client, Role.OPERATOR)
        assert client.post("/jobs", data={**form, "csrf": token(client, "/jobs")}).status_code == 403


def test_files_dropped_in_a_browser(browser, tmp_path, folder):
    page = browser.page("/import")
    assert browser.faults(page) == []
    page.evaluate(
        """() => {
        const transfer = new DataTransfer();
        for (const name of ["d1.csv", "d2.csv"]) transfer.items.add(new File(["x,y\\n1,2\\n"], name));
        const drop = new DragEvent("drop", {dataTransfer: transfer, cancelable: true});
        document.querySelector("[data-drop]").dispatchEvent(drop);
        }"""
    )
    page.get_by_text("2 chosen: d1.csv, d2.csv").wait_for()
    page.get_by_role("button", name="Send and look").click()
    page.wait_for_url(CODE, timeout=30_000)
    assert "2 files: 0 can be imported" in page.get_by_role("heading", level=1).inner_text()
    assert browser.faults(page) == []
    page.get_by_role("button", name="Discard").click()
    page.wait_for_url("**/import")


def test_a_job_is_followed_cancelled_and_taken_up_in_a_browser(browser, folder, server):
    with Lab.open(folder) as lab, lab.writing("t") as writer:
        gone = datetime.now(UTC) - timedelta(minutes=5)
        job = Job(
            kind="analyse",
            state="running",
            asked={},
            who="t",
            touched=gone,
            done=3,
            total=7,
            what="recordings",
        )
        writer.database.add(job)
        writer.database.flush()
        number = job.id
    page = browser.page(f"/jobs/{number}", dark=True)
    assert "interrupted" in page.get_by_role("heading", level=1).inner_text()
    assert browser.faults(page) == []
    page.get_by_role("button", name="Go on").click()
    page.get_by_role("heading", name="Analyse all that is new: done.").wait_for(timeout=60_000)  # by itself
    page.goto(f"{server}/jobs")
    assert browser.faults(page) == []


def test_known_files_are_stated_anew_when_the_box_is_ticked(visitor, folder, tmp_path):
    content = write_recording(tmp_path / "k.csv", 9).read_bytes()
    page = send(visitor, [("k.csv", content)], rate="2000")
    ended(visitor, visitor.post(f"{page.url}/import", data={"csrf": token(visitor, str(page.url))}))
    told = {"pattern": "{person}_{type}_{trial}", "rate": "2000"}
    again = send(visitor, [("P01_cross_9.csv", content)], **told)
    assert "there it says person &#39;not stated&#39;, not &#39;P01&#39;" in again.text
    assert "to state it: tick the box below" in again.text
    assert "--restate" not in again.text
    ticked = send(visitor, [("P01_cross_9.csv", content)], restate="yes", **told)
    assert "1 in the lab already can be stated anew" in sentence(ticked)
    assert "State 1 recording anew" in ticked.text
    job = visitor.post(f"{ticked.url}/import", data={"csrf": token(visitor, str(ticked.url))})
    assert "1 recording stated anew" in ended(visitor, job).text
    with Lab.open(folder) as lab:
        row = next(row for row in list_recordings(lab)[0] if row.name == "k.csv")
    assert (row.person, row.type) == ("P01", "cross")


def test_forms_post_without_scripts(browser, tmp_path):
    page = browser.page("/import", java_script_enabled=False)
    page.get_by_label("Recordings").set_input_files(write_recording(tmp_path / "e.csv", 5))
    page.get_by_text("What the files do not say themselves").click()
    page.get_by_label("Sampling rate, Hz").fill("2000")
    page.get_by_role("button", name="Send and look").click()
    page.wait_for_url(CODE)
    assert "1 can be imported" in page.get_by_role("heading", level=1).inner_text()
