"""Damaged files and bombs in a process with limits: no crash, no long work, no large memory."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
pytest.importorskip("resource", reason="limits of this kind are Unix's")


def test_damaged_files_of_every_format(tmp_path: Path) -> None:
    # The same damage each time; `make fuzz` tries other damage for minutes.
    done = subprocess.run(
        [sys.executable, "-m", "bench.fuzz_readers", "--count", "250", "--seed", "5"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout == "250 damaged files, 0 faults\n"


BOMBS = """
import io, resource, struct, sys, zipfile, zlib
import h5py, numpy as np, pyarrow as pa
from pyarrow import feather, parquet
from quintain.errors import RecordingError
from quintain.readers.registry import read

N = 12_000_000  # 96 MB of zeros

def zeros(pack):
    return b"".join(pack.compress(bytes(1 << 22)) for _ in range(8 * N >> 22)) + pack.flush()

def npz(path):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("a.npy", "w") as file:
        for _ in range(8 * N >> 22):
            file.write(bytes(1 << 22))

def npz_that_lies(path):
    head = io.BytesIO()
    np.lib.format.write_array_header_1_0(head, {"descr": "<f8", "fortran_order": False, "shape": (10**12,)})
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.npy", head.getvalue() + bytes(80))

def parquet_of_one_value(path):
    parquet.write_table(pa.table({"a": pa.array(np.zeros(N))}), path, row_group_size=N)

def arrow_squeezed(path):
    feather.write_feather(pa.table({"a": pa.array(np.zeros(N))}), path, compression="zstd", chunksize=N)

def hdf5(path):
    with h5py.File(path, "w") as file:
        data = file.create_dataset("a", (N,), "f8", chunks=(N,), compression="gzip")
        data.id.write_direct_chunk((0,), zeros(zlib.compressobj(6)))

def hdf5_twice(path):
    with h5py.File(path, "w") as file:
        plan = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
        plan.set_chunk((N,))
        plan.set_deflate(6)
        plan.set_deflate(6)
        h5py.h5d.create(file.id, b"a", h5py.h5t.NATIVE_DOUBLE, h5py.h5s.create_simple((N,)), plan)
        file["a"].id.write_direct_chunk((0,), zlib.compress(zeros(zlib.compressobj(6)), 6))

def hdf5_large_chunk(path):
    with h5py.File(path, "w") as file:
        data = file.create_dataset("a", (10 * N,), "f8", chunks=(10 * N,), compression="gzip")
        data.id.write_direct_chunk((0,), bytes(1 << 20))

def matlab(path):
    packed = zeros(zlib.compressobj(6))
    head = b"MATLAB 5.0 MAT-file".ljust(124) + b"\\x00\\x01IM"
    path.write_bytes(head + struct.pack("<II", 15, len(packed)) + packed)

def text_of_one_line(path):
    path.write_bytes(zeros(zlib.compressobj(6, wbits=31)))

MAKERS = [
    npz, npz_that_lies, parquet_of_one_value, arrow_squeezed, hdf5, hdf5_twice, hdf5_large_chunk, matlab,
    text_of_one_line,
]

def refused(path):
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    try:
        for trace in read(path, rate=1, units="N").traces:
            for _ in trace.blocks():
                pass
        said = "read"
    except RecordingError as error:
        said = str(error)
    return (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) >> 10, said
"""


def test_bombs_are_refused(tmp_path: Path) -> None:
    """Files of 1 MB at most that unfold to 96 MB or announce more; made and read in processes apart."""
    (tmp_path / "bombs.py").write_text(BOMBS)
    make = "import bombs, pathlib\nfor f in bombs.MAKERS: f(pathlib.Path(f.__name__))"
    # Small whole files first, so that the libraries are loaded before memory is watched.
    judge = (
        "import bombs, pathlib, numpy as np\n"
        "from pyarrow import feather, parquet\n"
        "np.savez('w', fs=1.0, a_N=np.arange(9.0))\n"
        "table = bombs.pa.table({'a_N': np.arange(9.0)})\n"
        "parquet.write_table(table, 'w.parquet'); feather.write_feather(table, 'w.feather')\n"
        "with bombs.h5py.File('w.h5', 'w') as file: file['a_N'] = np.arange(9.0)\n"
        "pathlib.Path('w.csv').write_text('t [s],a [N]\\n0,1\\n1,2\\n2,3\\n')\n"
        "for w in ('w.npz', 'w.parquet', 'w.feather', 'w.h5', 'w.csv'): bombs.refused(pathlib.Path(w))\n"
        "for f in bombs.MAKERS: print(f.__name__, *bombs.refused(pathlib.Path(f.__name__)), sep='|')\n"
    )
    env = {**os.environ, "PYTHONPATH": str(tmp_path)}
    subprocess.run([sys.executable, "-c", make], cwd=tmp_path, env=env, check=True)
    done = subprocess.run(
        [sys.executable, "-c", judge], cwd=tmp_path, env=env, capture_output=True, text=True, check=True
    )
    rows = [line.split("|") for line in done.stdout.splitlines()]
    assert len(rows) == 9
    for name, grown, said in rows:
        assert (tmp_path / name).stat().st_size < 1_100_000
        assert name in said, (name, said)
        # What a reader may unfold before it looks closer: 64 MB, and a copy of that.
        assert int(grown) < 150, (name, grown, said)
