"""Files of any format that do not tell the unit of their force: one line that says what to state, code 3."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.readers.registry import list_readers
from reader_samples import FORCE, SAMPLES, c3d_file, tdms_segment, tdms_text


def _changed(name: str, *pairs: tuple[bytes, bytes]) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        next(s for s in SAMPLES if s.name == name).write(path)
        for file in [path, *path.parent.glob("Channel/*")]:
            content = file.read_bytes()
            for before, after in pairs:
                content = content.replace(before, after)
            file.write_bytes(content)

    return write


def _npy(path: Path) -> None:
    with path.open("wb") as file:
        np.save(file, FORCE)


def _mat(path: Path) -> None:
    from scipy.io import savemat

    savemat(path, {"fs": 500.0, "signal": FORCE}, appendmat=False)


def _hdf5(path: Path) -> None:
    import h5py

    with h5py.File(path, "w") as file:
        file["signal"] = FORCE
        file["signal"].attrs["fs"] = 500.0


def _parquet(path: Path) -> None:
    import pyarrow as pa
    from pyarrow import parquet

    parquet.write_table(pa.table({"signal": FORCE}).replace_schema_metadata({"fs": "500"}), path)


def _tdms(path: Path) -> None:
    metadata = (
        struct.pack("<I", 1) + tdms_text("/'rig'/'signal'") + struct.pack("<IIIQ", 20, 10, 1, FORCE.size)
    )
    metadata += struct.pack("<I", 1) + tdms_text("wf_increment") + struct.pack("<Id", 10, 0.002)
    path.write_bytes(tdms_segment(0b1110, metadata, FORCE.tobytes()))


def _mdf(path: Path) -> None:
    from asammdf import MDF, Signal

    with MDF(version="4.10") as mdf:
        mdf.append([Signal(FORCE, np.arange(FORCE.size) / 500, name="signal", unit="furlong")])
        mdf.save(path.with_suffix(".mf4"))
    path.with_suffix(".mf4").rename(path)


def _raw(path: Path) -> None:
    path.write_bytes(FORCE.tobytes())
    text = 'rate = 500\n[[channels]]\nname = "signal"\ntype = "float64"\n'
    path.with_suffix(".toml").write_text(text)


WRITERS: dict[str, tuple[Callable[[Path], None], str]] = {
    "wav": (_changed("float.wav"), "full_scale='5000 N'"),
    "lvm": (_changed("segment.lvm", (b"Newtons", b"furlong"), (b"m/s^2", b"fathom")), "units='force=N'"),
    "tdms": (_tdms, "units='signal=N'"),
    "uff58": (
        _changed("text.uff", (b" N      ", b" NONE   "), (b"m/s^2", b"fath ")), "units='force=N'",
    ),
    "numpy": (_npy, "units='signal=N'"),
    "arrow": (_parquet, "units='signal=N'"),
    "matlab": (_mat, "units='signal=N'"),
    "c3d": (
        lambda path: path.write_bytes(c3d_file(FORCE[:, None], ["signal"], ["?"], 500.0)) and None,
        "units='signal=N'",
    ),
    "mdf4": (_mdf, "unit 'furlong' is not known; state it with units='signal=N'"),
    "mme": (_changed("test.mme", (b":N\n", b":furlong\n"), (b":m/(s*s)", b":fathom")), "FOX0=N'"),
    "hdf5": (_hdf5, "units='signal=N'"),
    "raw": (_raw, "state unit in "),
    "scope": (_changed("scope.csv", (b'"Vertical Units"', b'"Model"')), "units='CH1=N'"),
    "columns": (_changed("semicolon.csv", (b"[N]", b""), (b"[m/s^2]", b"")), "units='Kraft=N'"),
}  # fmt: skip


def test_every_reader_has_such_a_file() -> None:
    assert {reader.name for reader in list_readers()} == set(WRITERS)


@pytest.mark.parametrize("reader", WRITERS)
def test_one_line_and_exit_code_3(reader: str, tmp_path: Path) -> None:
    write, says = WRITERS[reader]
    path = tmp_path / ("test.mme" if reader == "mme" else "recording")
    write(path)
    stated = ["--setting", "rate=500"] if reader == "numpy" else []
    if reader == "raw":
        stated = ["--setting", f"layout={path.with_suffix('.toml')}"]
    done = CliRunner().invoke(app, ["analyse", str(path), *stated])
    assert done.exit_code == 3, done.output
    assert done.stderr.count("\n") == 1
    assert says in done.stderr
    assert str(path) in done.stderr
