"""Who gets in, who does not: each refusal is tried on a live server."""

from __future__ import annotations

import asyncio
import re
import socket
import threading
from pathlib import Path

import httpx
import pytest
from fastapi import APIRouter, Request, WebSocket

from quintain.web.app import create_app
from quintain.web.security.roles import Role, needs
from quintain.web.security.uploads import receive_upload
from web_server import PASSPHRASES, access, serving, sign_in, token

LIMIT = 3_000_000


@pytest.fixture(scope="module")
def upload_server(lab_folder, tmp_path_factory):
    """An app with one upload, one page for engineers and one that fails."""
    folder = tmp_path_factory.mktemp("uploads")
    app = create_app(lab_folder)
    router = APIRouter()

    @router.post("/take")
    async def take(request: Request) -> list[dict[str, object]]:
        async with receive_upload(request, folder, limit=LIMIT) as form:
            return [
                {"name": f.name, "inside": f.path.is_relative_to(folder), "n": f.n_bytes, "sha256": f.sha256}
                for f in form.files
            ]

    @router.get("/fails")
    def fails() -> None:
        raise RuntimeError("the secret of the house")

    app.include_router(router)
    with serving(app) as address:
        yield address, folder


def raw(address: str, request: bytes) -> bytes:
    """Send bytes as they are and read the answer's start."""
    host, port = address.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), timeout=60) as link:
        link.sendall(request)
        answer = b""
        while piece := link.recv(65536):
            answer += piece
            if b"\r\n\r\n" in answer:
                break
        return answer


# ---------- forged requests ----------


def test_unsafe_method_needs_the_token(client):
    assert client.post("/theme", data={"theme": "dark"}).status_code == 403
    client.get("/")
    assert client.post("/theme", data={"theme": "dark"}).status_code == 403
    assert client.post("/theme", data={"theme": "dark", "csrf": "x" * 88}).status_code == 403
    good = token(client)
    assert client.post("/theme", data={"theme": "dark", "csrf": good}).status_code == 303
    assert client.post("/theme", data={"theme": "dark"}, headers={"X-CSRF-Token": good}).status_code == 303


def test_token_belongs_to_one_visitor(server, client):
    with httpx.Client(base_url=server, timeout=60) as other:
        theirs = token(other)
    client.get("/")
    assert client.post("/theme", data={"theme": "dark", "csrf": theirs}).status_code == 403


def test_tokens_of_two_pages_differ_and_both_hold(client):
    """Masked anew each time, so that compression tells nothing."""
    first, second = token(client), token(client)
    assert first != second
    for one in (first, second):
        assert client.post("/theme", data={"theme": "dark", "csrf": one}).status_code == 303


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_foreign_page_is_refused_even_with_a_token(client, headers):
    good = token(client)
    answer = client.post("/theme", data={"theme": "dark", "csrf": good}, headers=headers)
    assert answer.status_code == 403
    assert "another site" in answer.text


def test_own_origin_is_taken(server, client):
    good = token(client)
    headers = {"Origin": server, "Sec-Fetch-Site": "same-origin"}
    assert client.post("/theme", data={"theme": "dark", "csrf": good}, headers=headers).status_code == 303


def test_next_page_is_never_elsewhere(client):
    form = {"theme": "dark", "csrf": token(client), "next": "//elsewhere.example/"}
    assert client.post("/theme", data=form).headers["location"] == "/"


# ---------- names of the server ----------


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "127.0.0.1:80:80", "10.0.0.1"]
)
def test_other_names_are_refused(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 421


def test_two_hosts_in_one_request_are_refused(server):
    answer = raw(server, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: elsewhere.example\r\n\r\n")
    assert b" 421 " in answer or b" 400 " in answer


def websocket(app, headers):
    """What an app answers to a WebSocket that wants in."""
    sent = []

    async def run():
        scope = {
            "type": "websocket", "scheme": "ws", "path": "/live", "raw_path": b"/live", "query_string": b"",
            "headers": [(k.encode(), v.encode()) for k, v in headers.items()], "subprotocols": [],
            "server": ("127.0.0.1", 80), "client": ("127.0.0.1", 1), "root_path": "", "extensions": {},
        }  # fmt: skip

        async def receive():
            return {"type": "websocket.connect"}

        async def send(message):
            sent.append(message["type"])

        await app(scope, receive, send)

    # a thread of its own: the browser of other tests has a loop in this one
    thread = threading.Thread(target=lambda: asyncio.run(run()))
    thread.start()
    thread.join()
    return sent[0]


def test_websockets_ask_for_host_and_origin(lab_folder):
    app = create_app(lab_folder)

    @app.websocket("/live")
    async def live(socket: WebSocket):
        await socket.accept()
        await socket.close()

    own = {"host": "localhost:80", "origin": "http://localhost:80"}
    assert websocket(app, own) == "websocket.accept"
    for wrong in (
        {"host": "localhost:80"},
        own | {"origin": "https://elsewhere.example"},
        own | {"origin": "null"},
        {"host": "elsewhere.example", "origin": "http://elsewhere.example"},
    ):
        assert websocket(app, wrong) == "websocket.close"


# ---------- headers ----------


@pytest.mark.parametrize(
    "path", ["/", "/parts", "/nothing", "/sign-in", "/parts/strike.json", "/api/openapi.json"]
)
def test_every_answer_is_strict(client, path):
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert "camera=()" in headers["permissions-policy"]
    assert headers["cache-control"] == "no-store"
    assert "server" not in headers


def test_pages_hold_no_inline_style_or_script(client):
    for path in ("/", "/parts", "/nothing", "/sign-in"):
        page = client.get(path).text
        assert not re.search(r"<style|<script(?![^>]*\bsrc=)|\sstyle=|\son[a-z]+=|javascript:", page)


# ---------- static files ----------


def test_static_files_are_kept_under_their_hash(client):
    path = re.search(r'href="(/static/\w+/quintain.css)"', client.get("/").text)[1]
    first = client.get(path)
    assert "immutable" in first.headers["cache-control"]
    assert first.headers["content-encoding"] == "gzip"
    assert client.get(path, headers={"Accept-Encoding": "identity"}).text == first.text
    assert client.get(re.sub(r"/\w+/q", "/old/q", path)).headers["cache-control"] == "no-cache"


@pytest.mark.parametrize(
    "path",
    [
        "/static/x/../app.py",
        "/static/x/../../../../../../etc/passwd",
        "/static/x/%2e%2e/app.py",
        "/static/x/..%2fapp.py",
        "/static/x/%252e%252e%252fapp.py",
        "/static/x//etc/passwd",
        "/static/x/..\\app.py",
        "/static/x/vendored/../../app.py",
        "/static/x/quintain.css%00.js",
    ],
)
def test_no_path_leads_out_of_the_static_files(server, path):
    answer = raw(server, f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n".encode())
    assert answer.split(b" ")[1] in (b"404", b"400"), answer[:200]
    assert b"create_app" not in answer
    assert b"root:" not in answer


# ---------- what is too much ----------


def form(name: bytes, content: bytes, csrf: str) -> bytes:
    return (
        b'--b\r\nContent-Disposition: form-data; name="csrf"\r\n\r\n' + csrf.encode() + b"\r\n"
        b'--b\r\nContent-Disposition: form-data; name="file"; filename="' + name + b'"\r\n'
        b"Content-Type: application/octet-stream\r\n\r\n" + content + b"\r\n--b--\r\n"
    )


MULTIPART = {"Content-Type": "multipart/form-data; boundary=b"}


@pytest.mark.parametrize(
    "name", [b"a.csv", b"../../evil.csv", b"..\\..\\evil.csv", b"/etc/cron.d/evil", b"\x00\x01"]
)
def test_name_of_an_upload_is_never_a_path(upload_server, name):
    address, folder = upload_server
    with httpx.Client(base_url=address, timeout=60) as client:
        answer = client.post("/take", content=form(name, b"1,2\n" * 1000, token(client)), headers=MULTIPART)
    (file,) = answer.json()
    assert file["inside"]
    assert file["n"] == 4000
    assert not {"/", "\\"} & set(file["name"])
    assert list(folder.iterdir()) == []  # nothing stays that nobody took


def test_upload_is_counted_on_the_stream_where_no_length_is_told(upload_server):
    address, folder = upload_server
    with httpx.Client(base_url=address, timeout=60) as client:
        body = form(b"a.csv", b"x" * (LIMIT + 1), token(client))
        pieces = (body[i : i + 50_000] for i in range(0, len(body), 50_000))
        answer = client.post("/take", content=pieces, headers=MULTIPART)
    assert answer.status_code == 413
    assert "nothing was kept" in answer.text
    assert list(folder.iterdir()) == []


def test_upload_with_a_length_that_lies(upload_server):
    """The server reads as much as the length says: the form is then cut off, and nothing is kept."""
    address, folder = upload_server
    with httpx.Client(base_url=address, timeout=60) as client:
        csrf = token(client)
        cookies = "; ".join(f"{k}={v}" for k, v in client.cookies.items())
    body = form(b"a.csv", b"x" * 5000, csrf)
    head = (
        f"POST /take HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {cookies}\r\nConnection: close\r\n"
        f"Content-Type: multipart/form-data; boundary=b\r\nContent-Length: 2000\r\n\r\n"
    )
    assert b" 400 " in raw(address, head.encode() + body)[:20]
    assert list(folder.iterdir()) == []


def test_upload_cut_off_by_its_sender_leaves_nothing(upload_server):
    address, folder = upload_server
    with httpx.Client(base_url=address, timeout=60) as client:
        body = form(b"a.csv", b"x" * 5000, token(client))
        assert client.post("/take", content=body[:3000], headers=MULTIPART).status_code == 400
    assert list(folder.iterdir()) == []


def test_upload_without_token_is_refused_before_a_byte_is_kept(upload_server):
    address, folder = upload_server
    with httpx.Client(base_url=address, timeout=60) as client:
        client.get("/")
        body = form(b"a.csv", b"x" * 100, "no")
        assert client.post("/take", content=body, headers=MULTIPART).status_code == 403
        late = body.replace(b'name="csrf"', b'name="late"')
        assert client.post("/take", content=late, headers=MULTIPART).status_code == 403
    assert list(folder.iterdir()) == []


def test_any_other_body_has_a_limit(client):
    good = token(client)
    pieces = (b"a" * 100_000 for _ in range(20))
    headers = {"X-CSRF-Token": good, "Content-Type": "application/x-www-form-urlencoded"}
    assert client.post("/theme", content=pieces, headers=headers).status_code == 413
    pieces = (b"a" * 100_000 for _ in range(20))
    headers.pop("X-CSRF-Token")
    assert client.post("/theme", content=pieces, headers=headers).status_code == 413


# ---------- failures ----------


def test_failure_has_a_code_and_no_trace(upload_server):
    address, _ = upload_server
    answer = httpx.get(f"{address}/fails", timeout=60)
    assert answer.status_code == 500
    assert re.search(r"under [0-9a-f]{8}\.", answer.text)
    assert "secret of the house" not in answer.text
    assert "Traceback" not in answer.text
    assert "default-src 'self'" in answer.headers["content-security-policy"]


def test_errors_are_pages_in_words(client):
    answer = client.get("/nothing")
    assert answer.status_code == 404
    assert "There is nothing here." in answer.text
    assert client.get("/parts/trace?start=a&end=1&pixels=10").status_code == 422
    assert client.get("/api/nothing").json()["error"]["status"] == 404


def test_lab_taken_away_is_said_in_words(tmp_path):
    with serving(tmp_path / "gone") as address:
        answer = httpx.get(address + "/", timeout=60)
    assert answer.status_code == 503
    assert "no lab here" in answer.text


# ---------- signing in ----------


def test_nothing_is_shown_before_signing_in(guarded):
    with httpx.Client(base_url=guarded, timeout=60) as client:
        answer = client.get("/parts?x=1")
        assert answer.status_code == 303
        assert answer.headers["location"] == "/sign-in?next=%2Fparts%3Fx%3D1"
        assert client.get("/api/openapi.json").status_code == 401
        assert "Test lab" not in client.get("/sign-in").text
        assert client.post("/parts/cancel", data={"csrf": token(client)}).status_code == 401


def test_signing_in_and_out(guarded):
    with httpx.Client(base_url=guarded, timeout=60) as client:
        answer = sign_in(client, Role.OPERATOR)
        assert answer.status_code == 303
        cookie = next(c for c in answer.headers.get_list("set-cookie") if "session" in c)
        assert "HttpOnly" in cookie
        assert "SameSite=strict" in cookie
        assert "Secure" not in cookie  # this server speaks no TLS
        assert client.get("/parts").status_code == 200
        assert client.post("/parts/cancel", data={"csrf": token(client)}).status_code == 303
        kept = dict(client.cookies)
        assert client.post("/sign-out", data={"csrf": token(client)}).status_code == 303
    with httpx.Client(base_url=guarded, cookies=kept, timeout=60) as client:
        assert client.get("/parts").status_code == 303  # the session itself is gone, not its cookie alone


def test_session_is_new_at_every_sign_in(guarded):
    with httpx.Client(base_url=guarded, timeout=60) as client:
        sign_in(client, Role.VIEWER)
        first = {k: v for k, v in client.cookies.items() if "session" in k}
        sign_in(client, Role.VIEWER)
        assert first != {k: v for k, v in client.cookies.items() if "session" in k}


def test_viewer_changes_nothing(guarded):
    with httpx.Client(base_url=guarded, timeout=60) as client:
        sign_in(client, Role.VIEWER)
        assert client.get("/parts").status_code == 200
        answer = client.post("/parts/cancel", data={"csrf": token(client)})
        assert answer.status_code == 403
        assert "operator or engineer" in answer.text


def test_token_of_before_signing_in_is_void(guarded):
    with httpx.Client(base_url=guarded, timeout=60) as client:
        early = token(client)
        sign_in(client, Role.OPERATOR)
        assert client.post("/parts/cancel", data={"csrf": early}).status_code == 403


def test_passphrase_of_one_role_opens_no_other(guarded):
    with httpx.Client(base_url=guarded, timeout=60) as client:
        assert sign_in(client, Role.ENGINEER, PASSPHRASES[Role.VIEWER]).status_code == 403
        assert client.get("/parts").status_code == 303


def test_guessing_is_slowed_down(guarded):
    with httpx.Client(base_url=guarded, timeout=60) as client:
        for _ in range(5):
            assert sign_in(client, Role.ENGINEER, "wrong passphrase").status_code == 403
        answer = sign_in(client, Role.ENGINEER)  # even the right one waits now
        assert answer.status_code == 429
        assert 0 < int(answer.headers["retry-after"]) <= 60
        assert "Wait" in answer.text


def test_link_from_elsewhere_comes_in_by_one_more_step(guarded):
    """A strict cookie is not sent with a link from another site; the page asks for itself again."""
    with httpx.Client(base_url=guarded, timeout=60) as client:
        answer = client.get("/parts", headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 200
    assert "refresh" in answer.text


def test_role_of_a_page(lab_folder):
    app = create_app(lab_folder, access())
    router = APIRouter(dependencies=[needs(Role.ENGINEER)])

    @router.get("/engineers")
    def engineers() -> str:
        return "in"

    app.include_router(router)
    with serving(app) as address, httpx.Client(base_url=address, timeout=60) as client:
        sign_in(client, Role.OPERATOR)
        answer = client.get("/engineers")
        assert answer.status_code == 403
        assert "role of engineer" in answer.text
        sign_in(client, Role.ENGINEER)
        assert client.get("/engineers").status_code == 200


def test_cookies_are_secure_under_tls(lab_folder):
    from quintain.web.security.gate import session_cookie

    scope = {"scheme": "https", "server": ("127.0.0.1", 8421)}
    assert session_cookie(scope) == "__Host-quintain-session-8421"  # browsers take it with Secure only


def test_network_needs_passphrases(tmp_path):
    with pytest.raises(ValueError, match="passphrases"):
        create_app(Path(tmp_path), network=True)
