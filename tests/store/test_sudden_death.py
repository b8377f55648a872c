"""A process that is killed at any instant: what it said was safe is there, and nothing is half there."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import select

from quintain.store.lab import Lab
from quintain.store.schema import Recording, Source
from quintain.tasks.doctor import doctor
from quintain.tasks.import_recordings import import_recordings

# Loads everything once; each line on its input begins a new process that imports and can be killed.
_IMPORT = """
import os, sys
from quintain.store.lab import Lab
from quintain.tasks.import_recordings import import_recordings
for line in sys.stdin:
    child = os.fork()
    if not child:
        with Lab.open(sys.argv[1]) as lab:
            import_recordings(
                lab, sys.argv[2:], reading={"units": "N"},
                done=lambda file: file.state == "new" and print(file.sha256, flush=True),
            )
        os._exit(0)
    print(child, flush=True)
    os.waitpid(child, 0)
    print("ended", flush=True)
"""

N_FILES, N_KILLS = 60, 18


@pytest.mark.skipif(not hasattr(os, "fork"), reason="there is no kill -9 here")
def test_killed_at_any_instant(tmp_path: Path) -> None:
    files = tmp_path / "files"
    files.mkdir()
    for n in range(N_FILES):  # 0.3 MB each, so that copying takes part of the time
        np.savez(files / f"{n:03d}.npz", force=np.full(40_000, float(n)), rate=1000.0)
    folder = tmp_path / "lab"
    Lab.create(folder, name="invented").close()
    rng = random.Random(6)
    safe: set[str] = set()
    command = [sys.executable, "-c", _IMPORT, str(folder), str(files)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        for i in range(N_KILLS):
            process.stdin.write("begin\n")
            process.stdin.flush()
            child = int(process.stdout.readline())
            if i % 2:  # at work; else it may be killed while it opens the lab
                safe.add(process.stdout.readline().strip())
            time.sleep(rng.uniform(0.0, 0.1))
            os.kill(child, signal.SIGKILL)
            while (line := process.stdout.readline().strip()) != "ended":
                safe.add(line)
            with Lab.open(folder) as lab, lab.reading() as database:
                rows = set(database.scalars(select(Recording.sha256)))
                sources = set(database.scalars(select(Source.recording_sha256)))
                stored = dict(lab.originals.entries())
            assert safe <= rows <= set(stored)
            assert rows == sources
    assert len(safe) >= N_KILLS // 2
    report = doctor(folder, repair=True)
    assert report.sound
    assert {finding.code for finding in report.findings} <= {"left-behind", "original-unclaimed"}
    assert list(folder.rglob("*.part")) == []
    with Lab.open(folder) as lab:
        assert not import_recordings(lab, [files], reading={"units": "N"}).of("refused")
    whole = doctor(folder)
    assert (whole.findings, whole.n_recordings) == ((), N_FILES)
