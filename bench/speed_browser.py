"""
The app as somebody in front of it sees it, in Debian's Chromium: first load, and zooming through 1e8 samples.

Loads are held against a bare static page of the same bytes: one document, no script, no style, from a server
that does nothing else but send the same headers of refusal (for one of them Chromium begins a new process).
On a machine that others use too, the least of several is the figure: noise only adds.
"""

from __future__ import annotations

import http.server
import shutil
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import numpy as np

from bench.row import Row
from bench.served import demo_lab, started
from quintain.store.lab import Lab
from quintain.tasks.import_recordings import import_recordings
from quintain.tasks.zoom import build_zoom

N = 100_000_000
RATE = 5000.0
LOADS = 9
ROUNDS, ZOOMS = 3, 40

_SIZE = """[...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
    .reduce((sum, entry) => sum + entry.encodedBodySize, 0)"""
_LOADED = "performance.getEntriesByType('navigation')[0].loadEventEnd"
_ZOOM = """async ([lo, hi]) => {
  const root = document.querySelector('[data-trace]');
  const seen = new Promise((done) => root.addEventListener('quintain:view', done, { once: true }));
  const began = performance.now();
  root.figure.setRange(lo, hi);
  await seen;
  await new Promise(requestAnimationFrame);
  return performance.now() - began;
}"""


def run() -> list[Row]:
    chromium = shutil.which("chromium")
    if chromium is None:
        return []
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        lab = demo_lab(Path(folder))
        sha256 = _long_recording(lab, Path(folder))
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        try:
            with started(lab) as served:
                return [*_loads(browser, served.address), *_zooms(browser, served.address, sha256)]
        finally:
            browser.close()


# -- first load


def _loads(browser: Any, address: str) -> list[Row]:
    _load(browser, f"{address}/")  # the lab is opened once, not by every visitor
    _, size = _load(browser, f"{address}/")
    with _bare(round(size), _refusals(address)) as bare:
        ours, theirs = [], []
        for _ in range(LOADS):
            theirs.append(_load(browser, bare)[0])
            ours.append(_load(browser, f"{address}/")[0])
    return [
        Row("first load of the overview, over a bare static page", min(ours) / min(theirs), "x", at_most=3),
        Row("first load of the overview", min(ours), "ms"),
        Row("first load of the bare page", min(theirs), "ms"),
        Row("first load of the overview, bytes on the wire", size / 1e3, "kB", at_most=250),
    ]


def _load(browser: Any, address: str) -> tuple[float, float]:
    """Milliseconds to the end of loading, and bytes, with nothing kept from before."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.goto(address, wait_until="networkidle")
    loaded, size = page.evaluate(_LOADED), page.evaluate(_SIZE)
    context.close()
    return loaded, size


def _refusals(address: str) -> dict[str, str]:
    told = httpx.get(f"{address}/").headers
    return {name: told[name] for name in told if name.startswith(("content-sec", "cross-", "x-", "referrer"))}


@contextmanager
def _bare(n: int, headers: dict[str, str]) -> Iterator[str]:
    head = b"<!doctype html><meta charset=utf-8><title>bare</title><pre>"
    text = np.random.default_rng(1).choice(list(b"abcdefghij klmnop\n"), n - len(head)).astype(np.uint8)
    body = head + text.tobytes()

    class Bare(http.server.BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.send_header("Content-Length", str(len(body)))
            for name, value in headers.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Bare)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()


# -- zooming


def _long_recording(folder: Path, place: Path) -> str:
    """An invented recording of 1e8 samples in the lab, prepared for zooming."""
    file = place / "long.npy"
    samples = np.lib.format.open_memmap(file, mode="w+", dtype=np.int16, shape=(N,))
    block = np.random.default_rng(1).normal(0, 30, 1 << 20).astype(np.int16)
    for first in range(0, N, block.size):
        samples[first : first + block.size] = block[: N - first]
    del samples
    with Lab.open(folder) as lab:
        reading = {"rate": RATE, "units": "N"}
        (found,) = import_recordings(lab, [file], kind="zero", reading=reading, who="bench").files
        if not found.sha256:
            raise RuntimeError(found.reason)
        build_zoom(lab, found.sha256, 0)
    file.unlink()
    return found.sha256


def _zooms(browser: Any, address: str, sha256: str) -> list[Row]:
    whole = N / RATE
    rng = np.random.default_rng(2)
    context = browser.new_context(viewport={"width": 1600, "height": 1000})
    page = context.new_page()
    page.goto(f"{address}/recordings/{sha256}")
    page.wait_for_selector("[data-trace][data-round-trip]", timeout=60_000)
    rounds = []
    for _ in range(ROUNDS):
        times = []
        for _ in range(ZOOMS):
            wide = whole * 10 ** rng.uniform(-6, -0.1)
            start = rng.uniform(0, whole - wide)
            times.append(page.evaluate(_ZOOM, [start, start + wide]))
        rounds.append((np.quantile(times, 0.95), np.median(times)))
    context.close()
    p95, median = np.min(rounds, axis=0)
    return [
        Row("zoom of 1e8 samples until painted, p95", float(p95), "ms", at_most=50),
        Row("zoom of 1e8 samples until painted, median", float(median), "ms"),
    ]
