"""A server of the app in a process of its own, for what measures or asks it from outside."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx

from quintain.version import __version__

__all__ = ["Served", "demo_lab", "started"]


class Served:
    """A server: its address, and the process it is."""

    def __init__(self, address: str, process: subprocess.Popen[str]) -> None:
        self.address = address
        self.pid = process.pid


def demo_lab(folder: Path) -> Path:
    """
    A fresh copy of the demo's lab in a folder.

    It takes a minute to invent, so one is kept among the temporary files; delete it after a change to the
    demo.
    """
    from quintain.tasks.demo_lab import make_demo_lab

    kept = Path(tempfile.gettempdir()) / f"quintain-bench-lab-{__version__}"
    if not kept.is_dir():
        made = folder / "made"
        make_demo_lab(made)
        shutil.move(made, kept)
    return Path(shutil.copytree(kept, folder / "lab"))


@contextmanager
def started(lab: Path) -> Iterator[Served]:
    """Serve a lab on a free port of this computer."""
    command = [sys.executable, "-m", "quintain", "serve", str(lab), "--no-browser", "--port", "0"]
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    try:
        address = ""
        assert process.stderr is not None
        for line in process.stderr:
            found = [word for word in line.split() if word.startswith("http://")]
            if found:
                address = found[0].rstrip("/.")
                break
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            try:
                httpx.get(f"{address}/sign-in", timeout=60)
                break
            except httpx.TransportError:
                time.sleep(0.1)
        yield Served(address, process)
    finally:
        process.terminate()
        process.wait(30)
