"""
Files of 2 GB in three formats, with four channels: how soon they open, and how much memory the analysis of
one channel takes.

``python -m bench.large_files [TDMS|HDF5|MDF...]`` writes them one after the other in the folder for temporary
files, needs 6 GB there and some minutes, and deletes them. Not among the measurements of ``make bench``.
"""

from __future__ import annotations

import struct
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from bench.long_recording import RIG
from bench.row import Row
from quintain.numerics.bodies import Cell, Striker, Target, simulate_strike
from quintain.numerics.pad_law import INVENTED_PADS

__all__ = ["run"]

RATE = 50_000.0
UNITS = {"force": "N", "acc": "m/s^2", "gauge": "V", "spare": "V"}
PIECE = 1_250_000
"""Samples from strike to strike: 25 s, 10 MB."""

_CHILD = """
import resource, sys, time
began = time.perf_counter()
from quintain.readers.registry import read
read(sys.argv[3])
loaded = time.perf_counter() - began
began = time.perf_counter()
recording = read(sys.argv[1])
opened = time.perf_counter() - began
import quintain
began = time.perf_counter()
strikes = quintain.analyse(recording, rig=quintain.Rig.load(sys.argv[2]), curves=False).strikes
took = time.perf_counter() - began
print(loaded, opened, took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2, len(strikes))
"""


def _force() -> np.ndarray:
    """One simulated strike on noise (invented)."""
    target = Target(INVENTED_PADS["soft"], cell=Cell(2.5, 230.0, 0.03))
    blow = simulate_strike(Striker(2.0, 6.0), target, duration=1.2, rate=RATE).cell_output
    force = np.random.default_rng(1).normal(5, 2.0, PIECE)
    force[PIECE // 2 : PIECE // 2 + blow.size] += blow
    return force


def _tdms(path: Path, force: np.ndarray, n: int) -> None:
    def text(words: str) -> bytes:
        return struct.pack("<I", len(words)) + words.encode()

    metadata = struct.pack("<I", len(UNITS))
    for channel, unit in UNITS.items():
        metadata += text(f"/'rig'/'{channel}'") + struct.pack("<IIIQ", 20, 10, 1, force.size)
        metadata += struct.pack("<I", 2) + text("wf_increment") + struct.pack("<Id", 10, 1 / RATE)
        metadata += text("unit_string") + struct.pack("<I", 0x20) + text(unit)
    raw = len(UNITS) * force.tobytes()
    with path.open("wb") as file:
        # A segment for each piece, as a program writes that saves what has come in.
        for k in range(n):
            head, toc = (metadata, 0b1110) if k == 0 else (b"", 0b1000)
            file.write(b"TDSm" + struct.pack("<IIQQ", toc, 4713, len(head) + len(raw), len(head)))
            file.write(head + raw)


def _hdf5(path: Path, force: np.ndarray, n: int) -> None:
    import h5py

    with h5py.File(path, "w") as file:
        for channel, unit in UNITS.items():
            data = file.create_dataset(channel, (n * force.size,), "f8", chunks=(1 << 16,))
            data.attrs.update({"unit": unit, "sample_rate": RATE})
            for k in range(n):
                data[k * force.size : (k + 1) * force.size] = force


def _mdf(path: Path, force: np.ndarray, n: int) -> None:
    from asammdf import MDF, Signal

    times = np.arange(force.size) / RATE
    with MDF(version="4.10") as mdf:
        mdf.append([Signal(force, times, name=channel, unit=unit) for channel, unit in UNITS.items()])
        # Times take a fifth of the file.
        for k in range(1, n * 4 // 5):
            mdf.extend(0, [(times + k * force.size / RATE, None), *[(force, None)] * len(UNITS)])
        mdf.save(path, compression=0)


FORMATS: dict[str, tuple[str, Callable[[Path, np.ndarray, int], None]]] = {
    "TDMS": ("a.tdms", _tdms),
    "HDF5": ("a.h5", _hdf5),
    "MDF": ("a.mf4", _mdf),
}


def run(names: list[str]) -> Iterator[Row]:
    """Measure the formats of these names, or all."""
    force = _force()
    for what, (name, write) in FORMATS.items():
        if names and what not in names:
            continue
        with TemporaryDirectory() as folder:
            path, rig = Path(folder, name), Path(folder, "rig.toml")
            rig.write_text(RIG)
            small = Path(folder, f"small-{name}")
            with redirect_stdout(StringIO()):
                # The library for MDF tells how fast it packs.
                write(path, force, 50)
                write(small, force[:1000], 5)
            done = subprocess.run(
                [sys.executable, "-c", _CHILD, path, rig, small], capture_output=True, text=True, check=False
            )
            if done.returncode:
                sys.exit(f"{what}: {done.stderr}")
            loaded, opened, took, memory, strikes = map(float, done.stdout.split())
            size = path.stat().st_size / 1e9
        yield Row(f"{what}, {size:.2f} GB: opening", opened, "s", 1.0)
        yield Row(f"{what}: loading its library, by a small file", loaded, "s")
        yield Row(f"{what}: analysing {strikes:.0f} strikes", took, "s")
        yield Row(f"{what}: most memory in use", memory, "GB", 1.0)


if __name__ == "__main__":
    for row in run(sys.argv[1:]):
        print(row, flush=True)
