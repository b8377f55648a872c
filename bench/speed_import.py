"""Importing into a lab, against what the same disk does with the same bytes: cp with fsync, and sha256sum."""

from __future__ import annotations

import os
import subprocess
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from bench.row import Row
from quintain.readers.registry import read
from quintain.store.lab import Lab
from quintain.store.originals import Originals
from quintain.tasks.doctor import doctor
from quintain.tasks.import_recordings import import_recordings

SIZE = 256 << 20
N_SMALL = 200


def _seconds(do: object) -> float:
    begin = time.perf_counter()
    do()  # type: ignore[operator]
    return time.perf_counter() - begin


def _shell(*command: str | Path) -> float:
    return _seconds(lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL))


def run() -> list[Row]:
    """Measure on one large recording of NumPy samples and on many small ones, in turn, the best of three."""
    place = Path(__file__).resolve().parents[1]  # a real disk; temporary folders may lie in memory
    with TemporaryDirectory(dir=place, prefix=".bench-") as folder:
        big = Path(folder, "big.npz")
        rng = np.random.default_rng(0)
        np.savez(big, force=rng.normal(0, 3, SIZE // 8), rate=10_000.0)
        megabytes = big.stat().st_size / 1e6
        times: dict[str, list[float]] = {}
        for i in range(3):
            # dd with fsync, as cp does not wait for the disk
            copy = Path(folder, f"copy{i}")
            times.setdefault("cp", []).append(
                _shell("dd", f"if={big}", f"of={copy}", "bs=1M", "conv=fsync", "status=none")
            )
            copy.unlink()
            times.setdefault("sum", []).append(_shell("sha256sum", big))
            originals = Originals(Path(folder, f"originals{i}"))
            times.setdefault("put", []).append(_seconds(lambda store=originals: store.put(big)))
            with Lab.create(Path(folder, f"lab{i}"), name="invented", invented=True) as lab:
                put = lambda own=lab: import_recordings(own, [big], reading={"units": "N"})  # noqa: E731
                times.setdefault("import", []).append(_seconds(put))
                times.setdefault("again", []).append(_seconds(put))
            times.setdefault("doctor", []).append(_seconds(lambda own=lab.folder: doctor(own)))
        best = {name: min(found) for name, found in times.items()}
        text = Path(folder, "text.csv")
        with text.open("w") as file:
            file.write("time_s,force_N\n")
            file.writelines(f"{i / 10_000:.4f},{i % 997:.3f}\n" for i in range(3_000_000))

        def look() -> None:
            for _ in read(text).trace("force").blocks():
                pass

        text_bytes = text.stat().st_size
        look()
        reading = min(_seconds(look) for _ in range(3))
        text_in = []
        for i in range(3):
            with Lab.create(Path(folder, f"text{i}"), name="invented", invented=True) as lab:
                text_in.append(_seconds(lambda own=lab: import_recordings(own, [text])))
        small = Path(folder, "small")
        small.mkdir()
        for n in range(N_SMALL):
            np.savez(small / f"{n}.npz", force=np.full(5000, float(n)), rate=1000.0)
        with Lab.create(Path(folder, "many"), name="invented", invented=True) as lab:
            many = lambda: import_recordings(lab, [small], reading={"units": "N"})  # noqa: E731
            first, second = _seconds(many), _seconds(many)
    bound = min(100.0, 0.8 * megabytes / max(best["cp"], best["sum"]))
    return [
        Row("disk: copy with fsync", megabytes / best["cp"], "MB/s"),
        Row("sha256sum", megabytes / best["sum"], "MB/s"),
        Row("bytes stored under their hash", megabytes / best["put"], "MB/s", at_least=bound),
        Row(
            "import: read whole, hashed, stored, entered", megabytes / best["import"], "MB/s", at_least=bound
        ),
        Row("text imported, against reading it alone", min(text_in) / reading, "times", 2.0),
        Row("text imported", text_bytes / 1e6 / min(text_in), "MB/s"),
        Row("the same again", megabytes / best["again"], "MB/s"),
        Row("doctor", megabytes / best["doctor"], "MB/s"),
        Row(f"small recordings imported ({os.cpu_count()} cores)", N_SMALL / first, "files/s"),
        Row("small recordings known already", N_SMALL / second, "files/s"),
    ]
