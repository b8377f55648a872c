"""Ten people looking at once, and ten thousand requests: waiting times and memory, seen from outside."""

from __future__ import annotations

import os
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from itertools import cycle, islice
from pathlib import Path

import httpx
import numpy as np

from bench.row import Row
from bench.served import demo_lab, started

VIEWERS = 10
SECONDS = 8.0
PAUSE = 0.5
"""Between two looks of one viewer; people rarely look faster. [s]"""

REQUESTS = 10_000
WARM = 1_000
"""Requests by which caches of a bounded size are full."""

SEEN_AT_ONCE = 100.0
"""Up to this a page seems to come at once (Miller, 1968; from memory). [ms]"""


def run() -> list[Row]:
    with tempfile.TemporaryDirectory() as folder, started(demo_lab(Path(folder))) as served:
        paths = _paths(served.address)
        for path in paths:  # opened once, not by every visitor
            httpx.get(served.address + path, timeout=60).raise_for_status()
        alone = min(_look(served.address, paths, 1) for _ in range(3))
        together = min(_look(served.address, paths, VIEWERS) for _ in range(3))
        rows = [
            Row("page, one viewer, p95", alone, "ms", at_most=SEEN_AT_ONCE),
            Row(f"page, {VIEWERS} viewers at once, p95", together, "ms", at_most=SEEN_AT_ONCE),
        ]
        if sys.platform == "linux":
            rows += _memory(
                served.address, served.pid, [*paths[:4], paths[6], paths[7], paths[13], paths[-1]]
            )
        return rows


def _paths(address: str) -> list[str]:
    """What viewers look at: pages, a chart, a window of samples, a list for a script."""
    with httpx.Client(base_url=address, timeout=60) as client:
        strikes = client.get("/api/strikes", params={"count": 20, "session": "S-03"}).json()["strikes"]
        ids, sha256 = [strike["id"] for strike in strikes], strikes[0]["recording_sha256"]
        window = {"start": 0, "end": 1, "points": 10}
        while client.get(f"/api/recordings/{sha256}/window", params=window).status_code == 202:
            pass  # it is prepared for zooming when it is first looked at
    return [
        "/", "/sessions", "/sessions/S-03", f"/recordings/{sha256}", "/people", "/rigs",
        f"/recordings/{sha256}/trace?start=0&end=10&pixels=1200",
        *(f"/strikes/{id}" for id in ids[:6]), *(f"/strikes/{id}/charts.json" for id in ids[:6]),
        "/api/strikes?sort=impulse&down=1&count=50",
    ]  # fmt: skip


def _look(address: str, paths: list[str], n: int) -> float:
    """95th percentile of the waiting time of so many viewers. [ms]"""
    end = time.monotonic() + SECONDS
    times: list[float] = []
    lock = threading.Lock()

    def view(number: int) -> None:
        rng = np.random.default_rng(number)
        with httpx.Client(base_url=address, timeout=60) as client:
            time.sleep(rng.uniform(0, PAUSE))
            while time.monotonic() < end:
                began = time.perf_counter()
                client.get(paths[rng.integers(len(paths))]).raise_for_status()
                with lock:
                    times.append(time.perf_counter() - began)
                time.sleep(PAUSE)

    with ThreadPoolExecutor(n) as pool:
        list(pool.map(view, range(n)))
    return 1e3 * float(np.quantile(times, 0.95))


def _memory(address: str, pid: int, paths: list[str]) -> list[Row]:
    """Resident memory after a warming up and after all requests."""
    began, before = time.monotonic(), _processor(pid)
    with httpx.Client(base_url=address, timeout=60) as client:
        for i, path in enumerate(islice(cycle(paths), REQUESTS)):
            client.get(path).raise_for_status()
            if i + 1 == WARM:
                early = _resident(pid)
    late, spent = _resident(pid), _processor(pid) - before
    return [
        Row(f"memory of the server, grown over {REQUESTS - WARM} requests", late - early, "MB", at_most=10),
        Row("memory of the server", late, "MB"),
        Row("requests one after the other", REQUESTS / (time.monotonic() - began), "1/s"),
        Row("processor time of the server, per request", 1e3 * spent / REQUESTS, "ms"),
    ]


def _resident(pid: int) -> float:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1e3
    raise RuntimeError("the server is gone")


def _processor(pid: int) -> float:
    """Time that the server has spent; unlike waiting, it does not grow because others use the machine. [s]"""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
