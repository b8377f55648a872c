"""Reading binary formats, against the library or plain numpy read of the same file."""

from __future__ import annotations

import struct
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from bench.row import Row
from quintain.readers.registry import read

N = 12_500_000
"""Numbers in a file: 100 MB in double precision."""


def _fastest(work: list[Callable[[], object]], rounds: int = 5) -> list[float]:
    """Shortest wall time of each piece of work, taken in turn so that a busy machine hits all alike. [s]"""
    best = [float("inf")] * len(work)
    for _ in range(rounds):
        for i, do in enumerate(work):
            begin = time.perf_counter()
            do()
            best[i] = min(best[i], time.perf_counter() - begin)
    return best


def _samples(path: Path, **settings: object) -> int:
    trace = read(path, **settings).traces[0]
    return sum(block.samples.size for block in trace.blocks())


def _uff(path: Path, force: np.ndarray) -> int:
    numbers = force.astype("<f4").tobytes()
    head = [
        "    -1", f"    58b     1     2          11{len(numbers):12d}     0     0           0           0",
        "force", "NONE", "NONE", "NONE", "NONE",
        "    1         0    0         0 NONE               0   0 NONE               0   0",
        f"         2{force.size:10d}         1  0.00000E+00  1.00000E-04  0.00000E+00",
        f"        17    0    0    0 {'Time':<20} {'s':<20}",
        f"        13    0    0    0 {'force':<20} {'N':<20}",
        "         0    0    0    0 NONE                 NONE",
        "         0    0    0    0 NONE                 NONE",
    ]  # fmt: skip
    begin = ("\n".join(head) + "\n").encode()
    path.write_bytes(begin + numbers + b"\n    -1\n")
    return len(begin)


def _tdms(path: Path, force: np.ndarray, each: int) -> int:
    """One segment of many chunks; returns where the numbers begin."""

    def text(words: str) -> bytes:
        return struct.pack("<I", len(words)) + words.encode()

    metadata = struct.pack("<I", 1) + text("/'rig'/'force'") + struct.pack("<IIIQ", 20, 10, 1, each)
    metadata += struct.pack("<I", 2) + text("wf_increment") + struct.pack("<Id", 10, 1e-4)
    metadata += text("unit_string") + struct.pack("<I", 0x20) + text("N")
    raw = force[: force.size // each * each].tobytes()
    path.write_bytes(
        b"TDSm" + struct.pack("<IIQQ", 0b1110, 4713, len(metadata) + len(raw), len(metadata)) + metadata + raw
    )
    return 28 + len(metadata)


def run() -> list[Row]:
    """Measure on files of 50 to 100 MB, and how long a file of 2 GB takes to open."""
    import h5py
    import pyarrow as pa
    from asammdf import MDF, Signal
    from pyarrow import parquet
    from scipy.io import wavfile

    force = np.random.default_rng(0).normal(0, 100, N)
    rows = []
    with TemporaryDirectory() as folder:

        def compare(
            what: str, path: Path, theirs: Callable[[], object], goal: float, **settings: object
        ) -> None:
            a, b = _fastest([theirs, lambda: _samples(path, **settings)])
            rows.append(Row(what, b / a, "times", goal))
            path.unlink()

        path = Path(folder, "a.wav")
        wavfile.write(path, 10_000, (force * 10).astype(np.int16))
        compare(
            "WAV of 16 bit against numpy", path,
            lambda: np.fromfile(path, "<i2", offset=44) * (1 / 32768), 2.0, full_scale="3000 N",
        )  # fmt: skip

        path = Path(folder, "a.uff")
        begin = _uff(path, force)
        compare(
            "UFF binary against numpy",
            path,
            lambda: np.fromfile(path, "<f4", N, offset=begin).astype(float),
            2.0,
        )

        path = Path(folder, "a.npy")
        np.save(path, force)
        compare("npy against numpy.load", path, lambda: np.load(path), 2.0, rate=1e4, units="N")

        path = Path(folder, "a.h5")
        with h5py.File(path, "w") as file:
            file["force_N"] = force

        def by_h5py() -> object:
            with h5py.File(path) as file:
                return file["force_N"][:]

        compare("HDF5 against h5py", path, by_h5py, 1.3, rate=1e4)

        path = Path(folder, "a.parquet")
        parquet.write_table(pa.table({"force_N": force}), path)
        compare(
            "Parquet against pyarrow",
            path,
            lambda: parquet.read_table(path)["force_N"].to_numpy(),
            1.3,
            rate=1e4,
        )

        path = Path(folder, "a.tdms")
        begin = _tdms(path, force, 10_000)
        compare("TDMS against numpy", path, lambda: np.fromfile(path, "<f8", N, offset=begin), 2.0)

        path = Path(folder, "a.mf4")
        with MDF(version="4.10") as mdf:
            half = force[: N // 2]
            mdf.append([Signal(half, np.arange(half.size) * 1e-4, name="force", unit="N")])
            mdf.save(path, compression=0)

        def by_asammdf() -> object:
            with MDF(path) as file:
                return file.get(group=0, index=1)

        compare("MDF 4 against asammdf, times included", path, by_asammdf, 1.3)

        path = Path(folder, "large.tdms")
        begin = _tdms(path, force[:10_000], 10_000)
        with path.open("r+b") as file:
            file.seek(12)
            file.write(struct.pack("<Q", begin - 28 + 80_000 * 25_000))
            file.truncate(begin + 80_000 * 25_000)
        (opened,) = _fastest([lambda: read(path)])
        rows.append(Row("opening a TDMS file of 2 GB", opened, "s", 1.0))
    return rows
