"""Reading delimited text, against pyarrow's own reader of the same file, and the memory it takes."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from bench.row import Row
from quintain.readers.fingerprint import _hash as hashes
from quintain.readers.registry import read

RATE = 10_000
# The peak that getrusage gives would hold what this process used before it started the other one.
_READ = """
import sys
from pathlib import Path
from quintain.readers.registry import read
n = sum(block.samples.size for block in read(sys.argv[1]).trace("force").blocks())
status = Path("/proc/self/status").read_text().split()
print(int(status[status.index("VmHWM:") + 1]) * 1024)
"""


def _write(path: Path, minutes: float) -> int:
    """Write an invented recording of noise and blows at 10 kHz: time and force; return its rows."""
    rng = np.random.default_rng(0)
    n = int(minutes * 60) * RATE
    with path.open("w") as file:
        file.write("time_s,force_N\n")
        for first in range(0, n, 200_000):
            t = np.arange(first, min(first + 200_000, n)) / RATE
            force = rng.normal(0, 3, t.size) + 3000 * np.maximum(np.sin(2 * np.pi * t / 5) - 0.999, 0) * 1000
            file.write("".join(f"{a:.4f},{b:.3f}\n" for a, b in zip(t.tolist(), force.tolist(), strict=True)))
    return n


def _fastest(work: list[Callable[[], object]], rounds: int = 7) -> list[float]:
    """Shortest wall time of each piece of work, taken in turn so that a busy machine hits all alike. [s]"""
    best = [float("inf")] * len(work)
    for _ in range(rounds):
        for i, do in enumerate(work):
            begin = time.perf_counter()
            do()
            best[i] = min(best[i], time.perf_counter() - begin)
    return best


def _peak_memory(path: Path) -> int:
    """Most memory that a fresh process holds while it reads a file. [byte]"""
    command = [sys.executable, "-c", _READ, str(path)]
    return int(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def run() -> list[Row]:
    """Measure on a file of 13 minutes (8 million rows, 120 MB), and memory from 1 to 13 minutes."""
    from pyarrow import csv

    with TemporaryDirectory() as folder:
        short, long = Path(folder, "short.csv"), Path(folder, "long.csv")
        _write(short, 1)
        n = _write(long, 13.4)

        def theirs() -> object:
            table = csv.read_csv(long)
            return table["time_s"].to_numpy(), table["force_N"].to_numpy()

        def ours() -> object:
            hashes.cache_clear()
            recording = read(long)
            return sum(block.samples.size for block in recording.trace("force").blocks()), recording.sha256

        a, b = _fastest([theirs, ours])
        peaks = [_peak_memory(path) for path in (short, long)] if Path("/proc/self/status").exists() else []
    rows = [
        Row("time and force as text, hashed and checked, against pyarrow.csv.read_csv", b / a, "times", 1.5),
        Row("rows of text read", n / b / 1e6, "million/s"),
    ]
    if peaks:
        rows.append(Row("peak memory for 13 min against 1 min", peaks[1] / peaks[0], "times", 1.3))
        rows.append(Row("peak memory while reading", peaks[1] / 1e6, "MB"))
    return rows
