"""A small valid file of every format, for the contract that all readers keep."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

__all__ = ["SAMPLES", "Sample", "c3d_file", "mme_files", "tdms_segment", "tdms_text"]

FORCE = (1000 * np.sin(np.arange(300) / 20)).round(3)
ACC = (50 * np.cos(np.arange(300) / 30)).round(3)


@dataclass(frozen=True)
class Sample:
    """How to write a file of a format, the settings it is read with, and what must come back."""

    reader: str
    name: str
    write: Callable[[Path], None]
    traces: tuple[tuple[str, str, float, Any], ...]
    """Name, SI unit, rate and samples of each trace."""
    settings: dict[str, Any] = field(default_factory=dict)


def _columns(path: Path) -> None:
    rows = [f"{i / 1000:.3f};{f};{a}" for i, (f, a) in enumerate(zip(FORCE, ACC, strict=True))]
    path.write_text(
        "made for a test\nt [s];Kraft [N];acc [m/s^2]\n" + "\n".join(rows) + "\n", encoding="utf-8"
    )


def _scope(path: Path) -> None:
    head = [
        '"Record Length",300,"Points"', '"Sample Interval",2.0e-003,s', '"Trigger Point",50,"Samples"',
        '"Source","CH1",', '"Vertical Units","V",', '"Horizontal Offset",-0.1,s',
    ]  # fmt: skip
    beside = head + [",,"] * (len(FORCE) - len(head))
    rows = [
        f"{cells},{i / 500 - 0.1:.3f},{f}" for i, (cells, f) in enumerate(zip(beside, FORCE, strict=True))
    ]
    path.write_text("\n".join(rows) + "\n")


def _wav(path: Path) -> None:
    from scipy.io import wavfile

    wavfile.write(path, 8000, np.column_stack([FORCE, ACC]).astype(np.float32) / 1024)


def _lvm(path: Path) -> None:
    head = [
        "LabVIEW Measurement\t", "Writer_Version\t2", "Separator\tTab", "Decimal_Separator\t,",
        "X_Columns\tOne", "***End_of_Header***\t", "\t", "Channels\t2\t\t", "Samples\t300\t300\t",
        "Date\t2026/11/25\t2026/11/25\t",
        "Time\t09:51:40,5\t09:51:40,5\t", "Y_Unit_Label\tNewtons\tm/s^2\t", "X0\t0,0E+0\t0,0E+0\t",
        "Delta_X\t0,000500\t0,000500\t", "***End_of_Header***\t\t\t", "X_Value\tforce\tacc\tComment",
    ]  # fmt: skip
    rows = [
        f"{i / 2000:.6f}\t{f}\t{a}".replace(".", ",") for i, (f, a) in enumerate(zip(FORCE, ACC, strict=True))
    ]
    path.write_text("\n".join(head + rows) + "\n")


def _npy(path: Path) -> None:
    records = np.zeros(300, dtype=[("time_s", float), ("force_N", np.float32), ("acc_g", float)])
    records["time_s"] = np.arange(300) / 500
    records["force_N"], records["acc_g"] = FORCE, ACC / 9.80665
    np.save(path, records)


def _npz(path: Path) -> None:
    np.savez_compressed(path, fs=500.0, force_N=FORCE, acc=ACC)


def _table() -> Any:
    import pyarrow as pa

    acc = pa.field("acc", pa.float32(), metadata={"unit": "m/s^2"})
    fields = [pa.field("time_ms", pa.float64()), pa.field("force_N", pa.float64()), acc]
    return pa.table([np.arange(300) * 2.0, FORCE, ACC.astype(np.float32)], schema=pa.schema(fields))


def _parquet(path: Path) -> None:
    from pyarrow import parquet

    parquet.write_table(_table(), path, row_group_size=128)


def _feather(path: Path) -> None:
    from pyarrow import feather

    feather.write_feather(_table(), path, chunksize=100)


def _hdf5(path: Path) -> None:
    import h5py

    with h5py.File(path, "w") as file:
        rig = file.create_group("rig")
        rig["t"] = np.arange(300) / 500
        rig["t"].attrs["unit"] = "s"
        rig.create_dataset("force", data=FORCE, chunks=(64,), compression="gzip").attrs["units"] = "N"
        rig["acc_g"] = ACC / 9.80665


def _matlab(path: Path) -> None:
    from scipy.io import savemat

    savemat(path, {"fs": 500.0, "force_N": FORCE, "acc": ACC}, do_compression=True)


def _matlab4(path: Path) -> None:
    from scipy.io import savemat

    savemat(path, {"force_N": FORCE, "acc": ACC, "time_s": np.arange(300) / 500}, format="4")


def _uff_head(name: str, unit: str, kind: int, n: int) -> list[str]:
    return [
        name, "NONE", "25-Nov-26 09:51:40", "NONE", "NONE",
        "    1         0    0         0 NONE               0   0 NONE               0   0",
        f"{kind:10d}{n:10d}         1  0.00000E+00  2.00000E-03  0.00000E+00",
        f"        17    0    0    0 {'Time':<20} {'s':<20}",
        f"        13    0    0    0 {name:<20} {unit:<20}",
        "         0    0    0    0 NONE                 NONE",
        "         0    0    0    0 NONE                 NONE",
    ]  # fmt: skip


def _uff_text(path: Path) -> None:
    lines = []
    for name, unit, samples in (("force", "N", FORCE), ("acc", "m/s^2", ACC)):
        cells = [f"{x:20.12E}" for x in samples]
        rows = ["".join(cells[i : i + 4]) for i in range(0, len(cells), 4)]
        lines += ["    -1", "    58", *_uff_head(name, unit, 4, len(samples)), *rows, "    -1"]
    path.write_text("\n".join(lines) + "\n")


def _uff_binary(path: Path) -> None:
    content = b""
    for name, unit, samples in (("force", "N", FORCE), ("acc", "m/s^2", ACC)):
        numbers = samples.astype("<f4").tobytes()
        first = f"    58b     1     2          11{len(numbers):12d}     0     0           0           0"
        head = "\r\n".join(["    -1", first, *_uff_head(name, unit, 2, len(samples))])
        content += head.encode() + b"\r\n" + numbers + b"\r\n    -1\r\n"
    path.write_bytes(content)


def tdms_text(text: str) -> bytes:
    return struct.pack("<I", len(text)) + text.encode()


def tdms_segment(toc: int, metadata: bytes, raw: bytes) -> bytes:
    return b"TDSm" + struct.pack("<IIQQ", toc, 4713, len(metadata) + len(raw), len(metadata)) + metadata + raw


def _tdms(path: Path) -> None:
    """Two segments: the first says all, the second only adds numbers."""
    metadata = struct.pack("<I", 2)
    for name, unit in (("force", "N"), ("acc", "m/s^2")):
        metadata += tdms_text(f"/'rig'/'{name}'") + struct.pack("<IIIQ", 20, 10, 1, 100)
        metadata += struct.pack("<I", 2) + tdms_text("wf_increment") + struct.pack("<Id", 10, 0.002)
        metadata += tdms_text("unit_string") + struct.pack("<I", 0x20) + tdms_text(unit)
    chunks = [FORCE[i : i + 100].tobytes() + ACC[i : i + 100].tobytes() for i in (0, 100, 200)]
    first = tdms_segment(0b1110, metadata, chunks[0])
    path.write_bytes(first + tdms_segment(0b1000, b"", chunks[1] + chunks[2]))


def _c3d_parameter(group: int, name: str, kind: int, shape: list[int], content: bytes) -> bytes:
    body = struct.pack("<bB", kind, len(shape)) + bytes(shape) + content + b"\0"
    return struct.pack("<bb", len(name), group) + name.encode() + struct.pack("<H", len(body) + 2) + body


def c3d_file(
    samples: np.ndarray, labels: list[str], units: list[str], rate: float, more: bytes = b""
) -> bytes:
    """A C3D file of analog channels alone, written as an Intel machine would, in floating point."""
    n = len(samples)
    header = struct.pack("<BB5HfHHf", 2, 0x50, 0, len(labels), 1, n, 0, -1.0, 4, 1, rate)
    parameters = struct.pack("<bb", 6, -1) + b"ANALOG" + struct.pack("<HB", 3, 0) + more
    for name, texts in (("LABELS", labels), ("UNITS", units)):
        parameters += _c3d_parameter(1, name, -1, [8, len(texts)], "".join(f"{t:<8}" for t in texts).encode())
    block = bytes([1, 0x50, 2, 84]) + parameters + b"\0\0"
    return header.ljust(512, b"\0") + block.ljust(1024, b"\0") + samples.astype("<f4").tobytes()


def _c3d(path: Path) -> None:
    path.write_bytes(c3d_file(np.column_stack([FORCE, ACC]), ["force", "acc"], ["N", "m/s^2"], 500.0))


def _raw(path: Path) -> None:
    table = np.zeros(300, dtype=[("force", ">f4"), ("gap", "u1", 3), ("acc", ">f8")])
    table["force"], table["acc"] = FORCE / 2, ACC
    path.write_bytes(b"header" + table.tobytes())


def _mdf4(path: Path) -> None:
    """Two groups of one rate, of which one is stored as counts with a linear conversion, blocks zipped."""
    from asammdf import MDF, Signal

    t = np.arange(300) / 500
    counts = np.round(ACC / 0.001).astype(np.int32)
    linear = {"a": 0.001, "b": 0.0}
    with MDF(version="4.10") as file:
        file.append([Signal(FORCE, t, name="force", unit="N")], acq_name="rig")
        file.append([Signal(counts, t, name="acc", unit="m/s^2", conversion=linear)], acq_name="wrist")
        file.save(path, compression=2, overwrite=True)


def mme_files(path: Path) -> None:
    """
    A header file and one file a channel beside it.

    Written after ISO/TS 13499 from memory; no file of another program was at hand.
    """
    head = ["Data format edition number :1.6", "Laboratory name :invented", "Date of the test :2026-11-25"]
    path.write_text("\n".join(head) + "\n")
    folder = path.parent / "Channel"
    folder.mkdir(exist_ok=True)
    for k, (code, unit, samples) in enumerate(
        (("10BARR000000FOX0", "N", FORCE), ("10HAND000000ACX0", "m/(s*s)", ACC)), start=1
    ):
        rows = [
            f"Channel code             :{code}", f"Unit                     :{unit}",
            "Reference channel        :implicit", "Time of first sample     :-0.01",
            "Sampling interval        :0.002", f"Number of samples        :{len(samples)}",
            *map(str, samples),
        ]  # fmt: skip
        (folder / f"{path.stem}.{k:03d}").write_text("\n".join(rows) + "\n")


RAW_LAYOUT = Path(__file__).parent / "data" / "readers" / "layout.toml"
FORCE_AND_ACC = (("force", "N", 500.0, FORCE), ("acc", "m/s²", 500.0, ACC))
SAMPLES = (
    Sample("numpy", "records.npy", _npy, FORCE_AND_ACC),
    Sample("numpy", "archive.npz", _npz, FORCE_AND_ACC, {"units": "acc=m/s^2"}),
    Sample("uff58", "text.uff", _uff_text, FORCE_AND_ACC),
    Sample("uff58", "binary.unv", _uff_binary, FORCE_AND_ACC),
    Sample("raw", "numbers.bin", _raw, FORCE_AND_ACC, {"layout": RAW_LAYOUT}),
    Sample("c3d", "analog.c3d", _c3d, FORCE_AND_ACC),
    Sample("tdms", "segments.tdms", _tdms, FORCE_AND_ACC),
    Sample("matlab", "compressed.mat", _matlab, FORCE_AND_ACC, {"units": "acc=m/s^2"}),
    Sample("matlab", "version4.mat", _matlab4, FORCE_AND_ACC, {"units": "acc=m/s^2"}),
    Sample("hdf5", "group.h5", _hdf5, (("rig/acc", "m/s²", 500.0, ACC), ("rig/force", "N", 500.0, FORCE))),
    Sample("mdf4", "groups.mf4", _mdf4, FORCE_AND_ACC),
    Sample(
        "mme",
        "test.mme",
        mme_files,
        (("10BARR000000FOX0", "N", 500.0, FORCE), ("10HAND000000ACX0", "m/s²", 500.0, ACC)),
    ),
    Sample("arrow", "table.parquet", _parquet, FORCE_AND_ACC),
    Sample("arrow", "table.feather", _feather, FORCE_AND_ACC),
    Sample(
        "columns", "semicolon.csv", _columns, (("Kraft", "N", 1000.0, FORCE), ("acc", "m/s²", 1000.0, ACC))
    ),
    Sample("scope", "scope.csv", _scope, (("CH1", "V", 500.0, FORCE),)),
    Sample(
        "wav",
        "float.wav",
        _wav,
        (("channel 1", "N", 8000.0, FORCE), ("channel 2", "m/s²", 8000.0, ACC)),
        {"full_scale": "channel 1=1024 N,channel 2=1024 m/s^2"},
    ),
    Sample("lvm", "segment.lvm", _lvm, (("force", "N", 2000.0, FORCE), ("acc", "m/s²", 2000.0, ACC))),
)
