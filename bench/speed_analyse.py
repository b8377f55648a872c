"""
The whole of ``quintain analyse`` on long recordings: time, memory, and start-up.

``QUINTAIN_BENCH_HOURS`` sets the longest recording (default 1; 5 takes some ten minutes and 4 GB of disk).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from bench.long_recording import RIG, write_long_recording
from bench.row import Row

__all__ = ["run"]

_CHILD = (
    "import resource, sys; sys.argv = ['quintain', *sys.argv[1:]]\n"
    "from quintain.cli.app import app\n"
    "try: app()\n"
    "finally: print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)"
)


def _analyse(recording: Path, rig: Path) -> tuple[float, float, int]:
    """Seconds, peak memory in GB, number of strikes."""
    began = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, "analyse", recording, "--rig", rig, "--json"],
        capture_output=True,
        text=True,
        check=True,
    )
    seconds = time.perf_counter() - began
    memory = int(done.stderr.split()[-1]) / 1024**2
    return seconds, memory, len(json.loads(done.stdout)["results"])


def run() -> list[Row]:
    """Measure."""
    hours = float(os.environ.get("QUINTAIN_BENCH_HOURS", "1"))
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        rig = Path(folder) / "rig.toml"
        rig.write_text(RIG)
        short, long = Path(folder) / "short.csv", Path(folder) / "long.csv"
        write_long_recording(short, hours=1 / 6)
        n = write_long_recording(long, hours=hours)
        _analyse(short, rig)  # compiles and warms the caches
        _, short_memory, _ = _analyse(short, rig)
        seconds, memory, found = _analyse(long, rig)
        rows += [
            Row(f"strikes missed or invented among {n}", abs(found - n), "", at_most=0),
            Row(f"analyse {hours:g} h at 10 kHz, per hour", seconds / hours, "s", at_most=90),
            Row("peak memory", memory, "GB", at_most=1.5),
            Row(f"memory, {hours:g} h against 10 min", memory / short_memory, "times", at_most=1.25),
        ]
    help_times = []
    for _ in range(6):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-m", "quintain", "--help"], capture_output=True, check=True)
        help_times.append(time.perf_counter() - began)
    rows.append(Row("quintain --help, warm, median of 5", sorted(help_times[1:])[2], "s", at_most=0.3))
    return rows
