"""``quintain serve``: the app in the browser, over one lab."""

from __future__ import annotations

import contextlib
import gc
import ipaddress
import os
import socket
import sys
import threading
import webbrowser
from pathlib import Path
from typing import Annotated, Any

import typer

from quintain.cli.failure import explained, say
from quintain.errors import UsageError

__all__ = ["serve"]


def serve(
    lab: Annotated[Path | None, typer.Argument(help="The lab's folder; without it an invented lab.")] = None,
    host: Annotated[
        str, typer.Option(help="Address to listen on; this computer alone by default.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes a free one.")] = 8421,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Do not open a browser.")] = False,
    access: Annotated[
        Path | None, typer.Option(help="File with a passphrase for each role (see quintain passphrase).")
    ] = None,
    name: Annotated[
        list[str] | None,
        typer.Option(help="A name the server is reached by on the network; may be repeated."),
    ] = None,
    certificate: Annotated[Path | None, typer.Option(help="TLS certificate, PEM; needs --key.")] = None,
    key: Annotated[Path | None, typer.Option(help="Key of the certificate, PEM.")] = None,
) -> None:
    """
    Show a lab in the browser, on this computer alone unless you say otherwise.

    Example: quintain serve my-lab. On a network: quintain serve my-lab --host 0.0.0.0 --access access.toml
    --certificate lab.pem --key lab.key
    """
    with explained():
        _serve(lab, host, port, no_browser, access, name or [], certificate, key)


def _serve(
    lab: Path | None,
    host: str,
    port: int,
    no_browser: bool,
    access: Path | None,
    names: list[str],
    certificate: Path | None,
    key: Path | None,
) -> None:
    from quintain.web.security import passphrases

    local = _is_loopback(host)
    if not local and access is None:
        raise UsageError(
            f"{host} can be reached from other computers, so each role needs a passphrase. Write them with: "
            "quintain passphrase viewer --file access.toml (then operator and engineer), and add "
            "--access access.toml"
        )
    if (certificate is None) != (key is None):
        raise UsageError("--certificate and --key go together")
    for file in (certificate, key):
        if file is not None and not file.is_file():
            raise UsageError(f"{file}: there is no such file")
    known = None
    if access is not None:
        known = passphrases.Access.load(access)
        known.require_all(access)
    listening = _listen(host, port)
    with listening:
        folder = lab if lab is not None else _invented_lab()
        from quintain.store.lab import Lab

        Lab.open(folder).close()
        _run(folder, known, listening, local, no_browser, names, certificate, key)


def _run(
    folder: Path,
    known: Any,
    listening: socket.socket,
    local: bool,
    no_browser: bool,
    names: list[str],
    certificate: Path | None,
    key: Path | None,
) -> None:
    import uvicorn

    from quintain.web.app import create_app

    own = [] if local else [socket.gethostname(), socket.getfqdn()]
    app = create_app(folder, known, names=[*names, *own], network=not local)
    config = uvicorn.Config(
        app,
        log_level="warning",
        proxy_headers=False,
        server_header=False,
        date_header=False,
        timeout_graceful_shutdown=5,
        timeout_keep_alive=30,
        ssl_certfile=certificate,
        ssl_keyfile=key,
    )
    try:
        config.load()
    except OSError as problem:
        raise UsageError(f"{certificate}: certificate and key cannot be used ({problem})") from None
    where, port = listening.getsockname()[:2]
    shown = f"[{where}]" if ":" in where else where
    if where in ("0.0.0.0", "::"):
        shown = "localhost"
    address = f"{'https' if certificate else 'http'}://{shown}:{port}/"
    say(f"Quintain shows {folder} at {address}")
    if not local and certificate is None:
        say("Passphrases and data travel in the clear; give --certificate and --key on a network you share.")
    say("Stop it with Ctrl+C.")
    if not no_browser:
        threading.Timer(0.5, webbrowser.open, [address]).start()
    # what is loaded by now stays: looking through it for what is not used stops every page for a while
    gc.collect()
    gc.freeze()
    server = uvicorn.Server(config)
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[listening])
    say("Stopped.")


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _listen(host: str, port: int) -> socket.socket:
    """Take the port before anything else is done, so that a port in use is said at once."""
    try:
        kind, _, _, _, where = socket.getaddrinfo(host.strip("[]"), port, type=socket.SOCK_STREAM)[0]
        listening = socket.socket(kind, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        # what is accepted inherits it; else a small second packet waits 40 ms for the first to be confirmed
        listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        try:
            listening.bind(where)
        except OSError:
            listening.close()
            raise
    except OSError as problem:
        raise UsageError(
            f"cannot listen on {host} port {port}: {problem.strerror}; choose another with --port, "
            "or 0 for any"
        ) from None
    return listening


def _invented_lab() -> Path:
    from quintain.tasks.demo_lab import make_demo_lab

    folder = _data_folder() / "demo-lab"
    if not (folder / "lab.toml").is_file():
        say(f"No lab was named, so an invented one is made in {folder}; it takes a moment.")
        folder.parent.mkdir(parents=True, exist_ok=True)
        make_demo_lab(folder)
    return folder


def _data_folder() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home())) / "quintain"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "quintain"
    return Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share") / "quintain"
