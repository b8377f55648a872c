"""A PostgreSQL server of the tests' own, where Debian's package (or another) is installed."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

__all__ = ["PostgresServer", "running_server"]


class PostgresServer:
    """A server with one database for each test."""

    def __init__(self, port: int) -> None:
        self.port = port
        self._n = 0

    def new_database(self) -> str:
        """URL of an empty database."""
        import psycopg

        self._n += 1
        name = f"lab_{self._n}"
        with psycopg.connect(
            f"postgresql://quintain@127.0.0.1:{self.port}/postgres", autocommit=True
        ) as link:
            link.execute(f"create database {name}")
        return f"postgresql://quintain@127.0.0.1:{self.port}/{name}"


@contextmanager
def running_server() -> Iterator[PostgresServer]:
    """Start a server below the temporary folder and end it again; skips where there is none."""
    pytest.importorskip("psycopg", reason="psycopg (quintain[postgres]) is not installed")
    programs = _programs()
    if programs is None:
        pytest.skip("no PostgreSQL server is installed (Debian: apt-get install postgresql)")
    folder = Path(tempfile.mkdtemp(prefix="quintain-pg-"))
    # The server refuses to run as root.
    user = {"user": "postgres", "group": "postgres", "extra_groups": []} if os.geteuid() == 0 else {}
    if user:
        shutil.chown(folder, "postgres", "postgres")
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.STDOUT, "cwd": folder, **user}
    data = folder / "data"
    subprocess.run(
        [programs / "initdb", "-D", data, "-U", "quintain", "-A", "trust", "--no-sync", "-E", "UTF8",
         "--locale=C"], check=True, **quiet,
    )  # fmt: skip
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen(
        [programs / "postgres", "-D", data, "-p", str(port), "-k", folder,
         "-c", "listen_addresses=127.0.0.1", "-c", "fsync=off", "-c", "shared_buffers=16MB"], **quiet,
    )  # fmt: skip
    try:
        _wait(server, port)
        yield PostgresServer(port)
    finally:
        server.send_signal(signal.SIGQUIT)  # at once; nothing in it is kept
        server.wait(30)
        shutil.rmtree(folder, ignore_errors=True)


def _programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    on_path = shutil.which("initdb")
    if found:
        return found[-1].parent
    return Path(on_path).resolve().parent if on_path else None


def _wait(server: subprocess.Popen[bytes], port: int) -> None:
    import psycopg

    for _ in range(300):
        try:
            psycopg.connect(f"postgresql://quintain@127.0.0.1:{port}/postgres").close()
        except psycopg.OperationalError:
            assert server.poll() is None, "the server ended"
            time.sleep(0.05)
        else:
            return
    raise AssertionError("the server did not come up")
