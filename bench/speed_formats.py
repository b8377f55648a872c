"""
Reading every format but plain text, against the library or plain numpy read of the same file.

TDMS is read here by numpy from where its numbers lie, as its library is no dependency: where that can be
imported it is measured too. C3D has none among the dependencies either. LVM is held against pyarrow's reader
of delimited text, which is told all that the header says.
"""

from __future__ import annotations

import importlib.util
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


def _fastest(work: list[Callable[[], object]], rounds: int = 7) -> list[float]:
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


def _lvm(path: Path, force: np.ndarray) -> int:
    """One channel with its times; returns where the rows begin."""
    head = [
        "LabVIEW Measurement\t", "Writer_Version\t2", "Separator\tTab", "Decimal_Separator\t.",
        "X_Columns\tOne", "***End_of_Header***\t", "\t", "Channels\t1\t", f"Samples\t{force.size}\t",
        "Y_Unit_Label\tN\t", "X0\t0.0E+0\t", "Delta_X\t0.000100\t", "***End_of_Header***\t\t",
        "X_Value\tforce\tComment",
    ]  # fmt: skip
    text = ("\n".join(head) + "\n").encode()
    rows = "\n".join(f"{i / 10_000:.4f}\t{f:.6f}\t" for i, f in enumerate(force.tolist()))
    path.write_bytes(text + rows.encode() + b"\n")
    return len(text)


def _lvm_by_pyarrow(path: Path, begin: int) -> object:
    from pyarrow import csv

    with path.open("rb") as file:
        file.seek(begin)
        table = csv.read_csv(
            file,
            csv.ReadOptions(column_names=["t", "force", "comment"]),
            csv.ParseOptions(delimiter="\t"),
        )
    return table["t"].to_numpy(), table["force"].to_numpy()


def _c3d(path: Path, force: np.ndarray, channels: int) -> int:
    """Analog channels in floating point, as many frames as the format counts; where the numbers begin."""

    def parameter(group: int, name: str, kind: int, shape: list[int], content: bytes) -> bytes:
        body = struct.pack("<bB", kind, len(shape)) + bytes(shape) + content + b"\0"
        return struct.pack("<bb", len(name), group) + name.encode() + struct.pack("<H", len(body) + 2) + body

    per = force.size // channels // 65_000
    header = struct.pack("<BB5HfHHf", 2, 0x50, 0, channels * per, 1, 65_000, 0, -1.0, 6, per, 1e4 / per)
    names = "".join(f"force {k:<4}" for k in range(channels)).encode()
    inside = struct.pack("<bb", 6, -1) + b"ANALOG" + struct.pack("<HB", 3, 0)
    inside += parameter(1, "LABELS", -1, [10, channels], names)
    inside += parameter(1, "UNITS", -1, [1, channels], b"N" * channels)
    whole = header.ljust(512, b"\0") + (bytes([1, 0x50, 4, 84]) + inside).ljust(2048, b"\0")
    path.write_bytes(whole + force[: 65_000 * per * channels].astype("<f4").tobytes())
    return len(whole)


def run() -> list[Row]:
    """Measure on files of some 100 MB, 50 MB where a writer is slow."""
    import h5py
    import pyarrow as pa
    from asammdf import MDF, Signal
    from pyarrow import feather, parquet
    from scipy.io import loadmat, savemat, wavfile

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
        compare("npy against numpy.load", path, lambda: np.load(path), 1.3, rate=1e4, units="N")

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

        path = Path(folder, "a.feather")
        feather.write_feather(pa.table({"force_N": force}), path, compression="lz4", chunksize=1 << 20)
        compare(
            "Arrow against pyarrow",
            path,
            lambda: feather.read_table(path, memory_map=False)["force_N"].to_numpy(),
            1.3,
            rate=1e4,
        )

        path = Path(folder, "a.npz")
        np.savez(path, force_N=force)
        compare("npz against numpy.load", path, lambda: np.load(path)["force_N"], 1.3, rate=1e4)

        path = Path(folder, "a.mat")
        savemat(path, {"force_N": force, "fs": 1e4})
        compare("MATLAB 5 against scipy", path, lambda: loadmat(path)["force_N"], 1.3)

        path = Path(folder, "a.tdms")
        begin = _tdms(path, force, 10_000)
        compare("TDMS against numpy", path, lambda: np.fromfile(path, "<f8", N, offset=begin), 1.3)
        if importlib.util.find_spec("nptdms"):
            from nptdms import TdmsFile

            begin = _tdms(path, force, 10_000)
            compare("TDMS against npTDMS", path, lambda: TdmsFile.read(path)["rig"]["force"][:], 1.3)

        path = Path(folder, "a.c3d")
        begin = _c3d(path, force, 2)
        compare(
            "C3D, one of two channels, against numpy",
            path,
            lambda: np.fromfile(path, "<f4", offset=begin).reshape(-1, 2)[:, 0].astype(float),
            1.3,
        )

        path = Path(folder, "a.lvm")
        begin = _lvm(path, force[: N // 4])
        compare("LVM against pyarrow", path, lambda: _lvm_by_pyarrow(path, begin), 1.3)

        path = Path(folder, "a.mf4")
        with MDF(version="4.10") as mdf:
            half = force[: N // 2]
            mdf.append([Signal(half, np.arange(half.size) * 1e-4, name="force", unit="N")])
            mdf.save(path, compression=0)

        def by_asammdf() -> object:
            with MDF(path) as file:
                return file.get(group=0, index=1)

        compare("MDF 4 against asammdf, times included", path, by_asammdf, 1.3)
    return rows
