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

# Loads everything once; each folder on its input is imported by a new process that can be killed. That
# process, killed or through, stays its parent's until the next line, so that its number is nobody else's.
_IMPORT = """
import os, sys
from quintain.store.lab import Lab
from quintain.tasks.import_recordings import import_recordings
for folder in sys.stdin:
    child = os.fork()
    if not child:
        with Lab.open(sys.argv[1]) as lab:
            import_recordings(
                lab, [folder.strip()], reading={"units": "N"},
                done=lambda file: file.state == "new" and print(file.sha256, flush=True),
            )
        os._exit(0)
    print(child, flush=True)
    sys.stdin.readline()
    _, status = os.waitpid(child, 0)
    print("end", os.waitstatus_to_exitcode(status), flush=True)
"""

N_FILES, N_KILLS = 24, 18


def _make_files(folder: Path, first: int) -> None:
    """Recordings nobody has yet, of 0.3 MB each, so that copying takes part of the time."""
    folder.mkdir()
    for n in range(first, first + N_FILES):
        np.savez(folder / f"{n:03d}.npz", force=np.full(40_000, float(n)), rate=1000.0)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="there is no kill -9 here")
def test_killed_at_any_instant(tmp_path: Path) -> None:
    files = tmp_path / "files"
    files.mkdir()
    folder = tmp_path / "lab"
    Lab.create(folder, name="invented").close()
    rng = random.Random(6)
    safe: set[str] = set()
    n_killed = 0
    command = [sys.executable, "-c", _IMPORT, str(folder)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        whole = 0.0  # seconds one import takes on this machine; the first is left to end and tells
        for i in range(N_KILLS + 1):
            _make_files(files / f"{i}", i * N_FILES)
            process.stdin.write(f"{files / str(i)}\n")
            process.stdin.flush()
            child = int(process.stdout.readline())
            if i == 0:
                started = time.monotonic()
                safe.update(process.stdout.readline().strip() for _ in range(N_FILES))
                whole = time.monotonic() - started
            else:
                time.sleep(rng.uniform(0.0, whole))
            os.kill(child, signal.SIGKILL)
            process.stdin.write("killed\n")
            process.stdin.flush()
            while not (line := process.stdout.readline().strip()).startswith("end"):
                safe.add(line)
            assert line in ("end -9", "end 0")
            n_killed += line == "end -9"
            with Lab.open(folder) as lab, lab.reading() as database:
                rows = set(database.scalars(select(Recording.sha256)))
                sources = set(database.scalars(select(Source.recording_sha256)))
                stored = dict(lab.originals.entries())
            assert safe <= rows <= set(stored)
            assert rows == sources
    assert n_killed >= N_KILLS // 3  # most, unless this machine became three times faster meanwhile
    assert len(safe) > N_FILES  # some were killed at work, not only while they opened the lab
    report = doctor(folder, repair=True)
    assert report.sound
    assert {finding.code for finding in report.findings} <= {"left-behind", "original-unclaimed"}
    assert list(folder.rglob("*.part")) == []
    with Lab.open(folder) as lab:
        assert not import_recordings(lab, [files], reading={"units": "N"}).of("refused")
    sound = doctor(folder)
    assert (sound.findings, sound.n_recordings) == ((), N_FILES * (N_KILLS + 1))
