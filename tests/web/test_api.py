"""The HTTP interface: what scripts get, what is refused, and that nothing of it identifies anybody."""

from __future__ import annotations

import io
import shutil
import zipfile
from hashlib import sha256
from urllib.parse import quote

import httpx
import pytest

from patience import wait_for
from quintain.store.lab import Lab
from quintain.tasks.people import identify_person
from quintain.web.security.roles import Role
from web_server import access, serving, sign_in

FLAT = b"time [s],force [N]\n" + b"".join(b"%.4f,%d\n" % (i / 2000, i % 3) for i in range(2000))


@pytest.fixture(scope="module")
def own_lab(small_lab, tmp_path_factory):
    """A copy of the small lab that these tests may change, with somebody's name in it."""
    folder = tmp_path_factory.mktemp("api") / "lab"
    shutil.copytree(small_lab, folder)
    with Lab.open(folder) as lab:
        identify_person(lab, "P01", who="tester", name="Wilhelmina Tester", contact="w@invented.example")
    return folder


@pytest.fixture(scope="module")
def api(own_lab):
    with serving(own_lab) as address, httpx.Client(base_url=address, timeout=60) as client:
        client.headers["X-CSRF-Token"] = client.get("/api/token").json()["csrf"]
        yield client


@pytest.fixture(scope="module")
def guarded_api(own_lab):
    with serving(own_lab, access()) as address:
        yield address


def get(api, path, status=200, **params):
    answer = api.get(path, params=params)
    assert answer.status_code == status, answer.text
    return answer.json()


def test_every_operation_is_described(api):
    spec = get(api, "/api/openapi.json")
    operations = [
        (path, operation) for path, methods in spec["paths"].items() for operation in methods.values()
    ]
    assert len(operations) >= 40
    assert all(path.startswith("/api/") for path, _ in operations)
    for path, operation in operations:
        assert operation.get("description"), path
        assert {"401", "403", "404", "422"} <= set(operation["responses"]), path


def test_glossary_gives_names_and_si_units_of_answers(api):
    units = {term["name"]: term["unit"] for term in get(api, "/api/glossary")}
    for row in get(api, "/api/strikes", quantity=["impulse", "peak_force", "contact_time"])["strikes"]:
        for name, told in row["quantities"].items():
            assert told is None or told["unit"] == units[name]
    assert units["impulse"] == "N s"


def test_strikes_are_filtered_sorted_and_paged(api):
    whole = get(api, "/api/strikes", sort="impulse", down=1)
    values = [row["quantities"]["impulse"]["value"] for row in whole["strikes"]]
    assert whole["total"] == len(values) == 7
    assert values == sorted(values, reverse=True)
    pages = [get(api, "/api/strikes", sort="impulse", down=1, offset=i, count=3) for i in (0, 3, 6)]
    assert [row["id"] for page in pages for row in page["strikes"]] == [r["id"] for r in whole["strikes"]]
    middle = values[3]
    above = get(api, "/api/strikes", limit=f"impulse:{middle}:")
    assert above["total"] == 4
    assert get(api, "/api/strikes", session="S2")["total"] == 4
    assert sum(g["n_strikes"] for g in get(api, "/api/strikes/summary", by="session")) == 7


def test_strike_is_given_whole_and_agrees_with_the_list(api):
    first = get(api, "/api/strikes", session="S2", count=1)["strikes"][0]
    whole = get(api, f"/api/strikes/{first['id']}")
    assert whole["quantities"]["impulse"] == first["quantities"]["impulse"]
    # a budget of independent sources adds up to the uncertainty (JCGM 100, 5.1.2)
    parts = whole["budget"]["impulse"].values()
    assert sum(u**2 for u in parts) ** 0.5 == pytest.approx(whole["quantities"]["impulse"]["u"], rel=1e-9)
    curves = get(api, f"/api/strikes/{first['id']}/curves")["curves"]
    assert len(curves["corrected"]["time_s"]) == len(curves["corrected"]["u"]) > 10
    history = get(api, f"/api/strikes/{first['id']}/history")
    assert history["recording_sha256"] == whole["recording_sha256"]
    assert [r["in_force"] for r in history["results"]].count(True) == 1


def test_recording_is_given_bit_for_bit_and_in_windows(api):
    sha = get(api, "/api/strikes", session="S2", count=1)["strikes"][0]["recording_sha256"]
    rows = get(api, "/api/recordings", session="S2", kind="strikes")["recordings"]
    row = next(row for row in rows if row["sha256"] == sha)
    place = f"/api/recordings/{sha}"
    assert sha256(api.get(f"{place}/bytes").content).hexdigest() == row["sha256"]
    told = get(api, place)
    assert told["channels"][told["force_channel"]]["unit"] == "N"
    clock = next(one for one in told["analyses"] if one["current"])["clock"]
    assert clock["offset"]["value"] == pytest.approx(100.0, abs=0.002)  # as invented; edges within 1 ms
    assert [pair["strike"] for pair in clock["matched"]] == [1, 2, 3, 4]
    assert (told["speeds"], told["alignment"]) == ("", {"offset": "", "sync": "", "track": "", "normal": ""})
    fine = get(api, f"{place}/window", start=0, end=0.01, points=5000)
    assert not fine["reduced"]
    assert fine["step_s"] == pytest.approx(1 / row["rate"])
    coarse = get(api, f"{place}/window", start=0, end=row["duration"], points=10)
    assert coarse["reduced"]
    assert len(coarse["low"]) <= 11
    # what is thinned holds the extremes of what is not
    assert min(v for v in coarse["low"] if v is not None) <= min(v for v in fine["low"] if v is not None)


def test_review_is_locked_by_the_counter_and_taken_back(api):
    row = get(api, "/api/strikes", session="S2", count=1)["strikes"][0]
    place = f"/api/strikes/{row['id']}"
    seen = {"changes": row["changes"]}
    assert api.post(f"{place}/accept", json=seen).json()["state"] == "accepted"
    late = api.post(f"{place}/reject", json=seen | {"reason": "late"})
    assert late.status_code == 409
    assert "changed since you looked" in late.json()["error"]["message"]
    assert get(api, place)["state"] == "accepted"
    undone = api.post("/api/review/undo", json={}).json()
    assert undone["action"] == "accept"
    assert get(api, place)["state"] == row["state"]
    tagged = api.post(f"{place}/retag", json={"side": "left", "series": 2}).json()
    assert (tagged["side"], tagged["series"], tagged["type"]) == ("left", 2, row["type"])
    assert api.post(f"{place}/note", json={"note": "seen"}).json()["note"] == "seen"


def test_facts_of_a_recording_are_stated_later_and_make_its_analysis_out_of_date(api):
    row = next(r for r in get(api, "/api/recordings", session="S2", kind="strikes")["recordings"])
    place = f"/api/recordings/{row['sha256']}"
    seen = get(api, place)
    motion = seen["motion_sha256"]
    assert (seen["out_of_date"], seen["channel"]) == ([], "")
    told = api.patch(place, json={"offset": "100+-0.3", "normal": "1,0,0", "changes": seen["changes"]})
    assert told.status_code == 200, told.text
    answer = told.json()
    assert answer["alignment"] == {"offset": "100+-0.3", "sync": "", "track": "", "normal": "1,0,0"}
    assert answer["changes"] == seen["changes"] + 1
    (words,) = answer["out_of_date"]
    assert words == "what is stated of it changed: how motion and force belong together"
    late = api.patch(place, json={"side": "left", "changes": seen["changes"]})
    assert late.status_code == 409
    assert "Nothing was written; look again" in late.json()["error"]["message"]
    for facts, status, words in (
        ({}, 422, "nothing is stated"),
        ({"colour": "red"}, 422, "colour"),
        ({"speeds": "6"}, 422, "both a motion and speeds"),
        ({"motion": "ffffffff"}, 404, "no recording 'ffffffff'"),
        ({"offset": "-100+-0.3"}, 422, "covers nothing of force.csv"),
        ({"motion": None, "speeds": "speed [m/s]\nx"}, 422, "expected a header and rows of speeds"),
        ({"motion": None, "speeds": "strike,speed \u0000 [m/s]\n1,8\n"}, 422, "cannot be shown"),
    ):
        refused = api.patch(place, json=facts)
        assert refused.status_code == status, refused.text
        assert words.lower() in refused.json()["error"]["message"].lower()
    gone = api.patch(place, json={"motion": None, "speeds": "6.0+-0.2"}).json()
    assert (gone["motion_sha256"], gone["speeds"], gone["alignment"]["offset"]) == (None, "6.0+-0.2", "")
    back = api.patch(place, json={"motion": motion, "speeds": None}).json()
    assert back["out_of_date"] == []


def test_sessions_people_and_studies_are_made_and_changed(api):
    made = api.post("/api/sessions", json={"code": "S-API", "when": "2026-11-20T10:00:00+01:00"})
    assert made.status_code == 201
    assert made.json()["when"] == "2026-11-20T09:00:00Z"
    assert api.post("/api/sessions", json={"code": "s-api"}).status_code == 409
    changed = api.patch("/api/sessions/S-API", json={"title": "scripted", "changes": 0})
    assert changed.json()["title"] == "scripted"
    assert api.patch("/api/sessions/S-API", json={"title": "late", "changes": 0}).status_code == 409
    assert api.post("/api/people", json={"code": "P77", "body_mass": 70}).status_code == 201
    assert api.patch("/api/people/P77", json={"height": 1.8}).json()["body_mass"] == 70
    plan = 'code = "api"\ntitle = "t"\nquestion = "q"\nquantities = ["impulse"]\n'
    plan += '[[comparison]]\nfactor = "session"\n'
    assert api.post("/api/studies", json={"plan": plan}).status_code == 201
    assert get(api, "/api/studies/api")["plan"] == plan
    assert api.get("/api/studies/api/answers").status_code in (200, 422)
    assert api.post("/api/studies", json={"plan": "code = "}).status_code == 422


def test_recordings_are_sent_looked_at_first_and_known_again(api):
    files = {"files": ("blow.csv", FLAT)}
    looked = api.post("/api/recordings", files=files, data={"session": "S1", "dry_run": "1"})
    assert (looked.status_code, looked.json()["files"][0]["state"]) == (200, "new")
    before = get(api, "/api/recordings")["total"]
    sent = api.post("/api/recordings", files=files, data={"session": "S1"})
    assert sent.status_code == 201
    (file,) = sent.json()["files"]
    assert (file["name"], file["session"], file["rate"]) == ("blow.csv", "S1", pytest.approx(2000))
    assert api.post("/api/recordings", files=files).json()["files"][0]["state"] == "known"
    assert get(api, "/api/recordings")["total"] == before + 1
    other = {"files": ("P02_blow.csv", FLAT)}
    told = {"pattern": "{person}_{any}", "session": "S2"}
    (known,) = api.post("/api/recordings", files=other, data=told).json()["files"]
    assert (known["state"], known["session"], known["person"]) == ("known", "S1", "")
    assert "session 'S1', not 'S2'" in known["reason"]
    (stated,) = api.post("/api/recordings", files=other, data=told | {"restate": "1"}).json()["files"]
    assert (stated["state"], stated["session"], stated["person"]) == ("restated", "S2", "P02")
    refused = api.post("/api/recordings", files={"files": ("x.csv", b"no numbers")}).json()["files"][0]
    assert refused["state"] == "refused"
    assert "/" not in refused["reason"].split("x.csv")[0]  # no place of the server's disk


def test_export_holds_tables_and_codebook(api):
    answer = api.get("/api/export", params={"session": "S2"})
    names = zipfile.ZipFile(io.BytesIO(answer.content)).namelist()
    assert {"strikes.csv", "codebook.csv"} <= set(names)


def test_jobs_are_asked_for_and_done(api):
    asked = api.post("/api/jobs", json={"kind": "export", "session": "S1"})
    assert asked.status_code == 202
    number = asked.json()["id"]

    def ended():
        job = get(api, f"/api/jobs/{number}")
        return job if job["state"] in ("done", "failed") else None

    job = wait_for(ended, "the export did not end")
    assert job["state"] == "done", job
    assert api.get(f"/api/jobs/{number}/files/{job['files'][0]}").status_code == 200
    assert api.get(f"/api/jobs/{number}/files/..%2f..%2flab.db").status_code == 404
    assert api.post("/api/jobs", json={"kind": "study"}).status_code == 422


def test_nothing_identifies_anybody(api, own_lab):
    """Every GET of the description is asked; a name that the lab keeps apart is in no answer."""
    spec = get(api, "/api/openapi.json")
    strike = get(api, "/api/strikes", session="S1", count=1)["strikes"][0]
    known = {
        "{code}": "P01", "{name}": "post", "{sha256}": strike["recording_sha256"],
        "{strike_id}": str(strike["id"]), "{number}": "1",
    }  # fmt: skip
    for path, methods in spec["paths"].items():
        if "get" not in methods or path.endswith(("/bytes", "/export")):
            continue
        for key, value in known.items():
            path = path.replace(key, value)
        answer = api.get(path)
        assert "Wilhelmina" not in answer.text, path
        assert "invented.example" not in answer.text, path


# ---------- what is refused ----------


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/strikes/999999", 404),
        ("/api/strikes/0", 422),
        ("/api/strikes/99999999999999999999999999", 422),
        ("/api/strikes?sort=beauty", 422),
        ("/api/strikes?colour=red", 422),
        ("/api/strikes?until=9999-12-31", 422),
        ("/api/strikes?since=2026-13-45", 422),
        ("/api/strikes?limit=impulse:a:b", 422),
        ("/api/strikes?count=100000", 422),
        ("/api/strikes?session=nowhere", 422),
        ("/api/sessions/nowhere", 404),
        ("/api/people/nobody", 404),
        ("/api/rigs/nothing", 404),
        ("/api/rigs/nothing/evidence", 404),
        ("/api/rigs/nothing/file", 404),
        ("/api/studies/none", 404),
        ("/api/jobs/999999", 404),
        ("/api/recordings/0000000000", 404),
        ("/api/recordings?session=nowhere", 404),
        ("/api/recordings/..%2f..%2flab.db/bytes", 404),
        ("/api/recordings/%2e%2e/bytes", 422),
        ("/api/recordings/*/bytes", 422),
        ("/api/nothing", 404),
    ],
)
def test_what_is_not_there_is_said_in_words(api, path, status):
    answer = api.get(path)
    assert answer.status_code == status, answer.text
    error = answer.json()["error"]
    assert error["status"] == status
    assert len(error["message"]) > 10


def test_a_version_that_a_rig_never_had_is_not_there(api):
    name = get(api, "/api/rigs")[0]["name"]
    answer = api.get(f"/api/rigs/{quote(name)}/file", params={"version": "null"})
    assert (answer.status_code, "no version 'null'" in answer.text) == (404, True)


def test_a_value_of_another_kind_is_not_taken_for_what_it_resembles(api):
    assert api.patch("/api/people/P01", json={"changes": False}).status_code == 422
    assert api.post("/api/sessions", json={"code": "S-77", "when": 0}).status_code == 422
    made = api.post("/api/sessions", json={"code": "S-77", "when": "2026-05-04T16:30:00+02:00"})
    assert made.json()["when"] == "2026-05-04T14:30:00Z"


def test_wrong_fields_are_named(api):
    answer = api.post("/api/strikes/1/reject", json={"reasn": "typo"})
    assert answer.status_code == 422
    assert "reasn" in answer.json()["error"]["message"]
    assert (
        api.post(
            "/api/strikes/1/accept", content=b"{", headers={"Content-Type": "application/json"}
        ).status_code
        == 422
    )


def test_change_without_token_is_refused(api):
    for headers in ({"X-CSRF-Token": ""}, {"X-CSRF-Token": "x" * 88}):
        answer = api.post("/api/strikes/1/accept", json={}, headers=headers)
        assert answer.status_code == 403
        assert answer.json()["error"]["status"] == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://elsewhere.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_foreign_origin_changes_nothing(api, headers):
    before = get(api, "/api/strikes/1")["changes"]
    assert api.post("/api/strikes/1/accept", json={}, headers=headers).status_code == 403
    assert get(api, "/api/strikes/1")["changes"] == before


def test_foreign_host_gets_nothing(api):
    assert api.get("/api/lab", headers={"Host": "elsewhere.example"}).status_code == 421


def test_answers_are_not_for_other_sites(api):
    headers = api.get("/api/strikes").headers
    assert "access-control-allow-origin" not in headers
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert headers["cache-control"] == "no-store"


def test_nothing_is_answered_before_signing_in(guarded_api):
    with httpx.Client(base_url=guarded_api, timeout=60) as client:
        for path in ("/api/openapi.json", "/api/lab", "/api/strikes", "/api/people", "/api/export"):
            answer = client.get(path)
            assert answer.status_code == 401
            assert "Sign in" in answer.json()["error"]["message"]
        token = client.get("/api/token").json()
        assert token["role"] == ""
        headers = {"X-CSRF-Token": token["csrf"]}
        assert client.post("/api/strikes/1/accept", json={}, headers=headers).status_code == 401
        files = {"files": ("a.csv", FLAT)}
        assert client.post("/api/recordings", files=files, headers=headers).status_code == 401
        assert client.get("/api/tokens").status_code == 401


def test_roles(guarded_api):
    with httpx.Client(base_url=guarded_api, timeout=60) as client:
        sign_in(client, Role.VIEWER)
        token = client.get("/api/token").json()
        assert token["role"] == "viewer"
        headers = {"X-CSRF-Token": token["csrf"]}
        assert client.get("/api/strikes").status_code == 200
        assert client.post("/api/strikes/1/note", json={"note": ""}, headers=headers).status_code == 403
        sign_in(client, Role.OPERATOR)
        old = client.post("/api/strikes/1/note", json={"note": ""}, headers=headers)
        assert old.status_code == 403  # the token of before signing in is void
        headers = {"X-CSRF-Token": client.get("/api/token").json()["csrf"]}
        assert client.post("/api/strikes/1/note", json={"note": ""}, headers=headers).status_code == 200
        for path, body in (
            ("/api/people", {"code": "P88"}),
            ("/api/studies", {"plan": ""}),
            ("/api/jobs", {"kind": "doctor"}),
        ):
            answer = client.post(path, json=body, headers=headers)
            assert answer.status_code == 403, path
            assert "engineer" in answer.json()["error"]["message"]


def test_too_much_is_refused(api, own_lab, monkeypatch):
    assert api.post("/api/strikes/1/note", json={"note": "x" * 2_000_000}).status_code == 413
    monkeypatch.setattr("quintain.web.pages.api_import.LIMIT", 100_000)
    big = {"files": ("big.csv", b"x" * 200_000)}
    answer = api.post("/api/recordings", files=big)
    assert answer.status_code == 413
    assert answer.json()["error"]["status"] == 413
    assert not any((own_lab / "cache" / "arrived").iterdir())


@pytest.mark.parametrize("name", ["../../evil.csv", "..", "/etc/cron.d/evil", "a\x00b.csv", "..\\evil.csv"])
def test_name_of_a_file_is_never_a_path(api, own_lab, name):
    before = set(own_lab.parent.rglob("*evil*"))
    answer = api.post("/api/recordings", files={"files": (name, FLAT)}, data={"dry_run": "1"})
    assert answer.status_code == 200
    assert "/" not in answer.json()["files"][0]["name"]
    assert set(own_lab.parent.rglob("*evil*")) == before


def test_settings_cannot_name_a_file_of_the_server(api):
    files = {"files": ("raw.bin", b"\0" * 4000)}
    answer = api.post("/api/recordings", files=files, data={"settings": "layout=/etc/passwd"})
    assert answer.status_code == 422
    assert "root:" not in answer.text


def test_upload_needs_a_form_with_files(api):
    assert api.post("/api/recordings", json={}).status_code == 400
    assert api.post("/api/recordings", data={"session": "S1"}, files={"x": ("", b"")}).status_code == 422
    answer = api.post("/api/recordings", data={"sesion": "S1"}, files={"files": ("a.csv", FLAT)})
    assert answer.status_code == 422
    assert "sesion" in answer.json()["error"]["message"]
