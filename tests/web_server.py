"""A live server of the app for tests, and a lab for it."""

from __future__ import annotations

import re
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import httpx
import uvicorn

from quintain.store.lab import Lab
from quintain.web.app import create_app
from quintain.web.security.passphrases import Access, hash_passphrase
from quintain.web.security.roles import Role

__all__ = ["PASSPHRASES", "access", "empty_lab", "serving", "sign_in", "token"]

PASSPHRASES = {role: f"{role.word} of seven herons" for role in Role}


def empty_lab(folder: Path) -> Path:
    """An empty lab, marked as invented."""
    Lab.create(folder / "lab", name="Test lab", invented=True).close()
    return folder / "lab"


@cache
def access() -> Access:
    """A passphrase for each role."""
    return Access({role: hash_passphrase(said) for role, said in PASSPHRASES.items()})


@contextmanager
def serving(app_or_folder: object, access: Access | None = None) -> Iterator[str]:
    """Serve a lab's folder, or an app, on a free port; give its address."""
    app = create_app(app_or_folder, access) if isinstance(app_or_folder, Path) else app_or_folder
    listening = socket.socket()
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # as quintain serve
    listening.bind(("127.0.0.1", 0))
    config = uvicorn.Config(app, log_level="critical", ws="none", server_header=False, proxy_headers=False)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        if not thread.is_alive():
            raise RuntimeError("the server did not start")
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(10)
        listening.close()


def token(client: httpx.Client, path: str = "/sign-in") -> str:
    """The token of a page, which comes with its cookie."""
    found = re.search(r'name="csrf" value="([^"]+)"', client.get(path).text)
    assert found, "no token in the page"
    return found[1]


def sign_in(client: httpx.Client, role: Role, passphrase: str | None = None) -> httpx.Response:
    """Sign in with a role's passphrase, or another."""
    said = PASSPHRASES[role] if passphrase is None else passphrase
    form = {"csrf": token(client), "role": role.word, "passphrase": said}
    return client.post("/sign-in", data=form)
