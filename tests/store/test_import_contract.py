"""Two processes that import the same, whichever database holds the lab's tables."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from pathlib import Path

from sqlalchemy import func, select

from quintain.store.lab import Lab
from quintain.store.schema import Person, Recording, Source
from quintain.tasks.doctor import doctor

_IMPORT = """
import sys
from quintain.store.lab import Lab
from quintain.tasks.import_recordings import import_recordings
with Lab.open(sys.argv[1]) as lab:
    report = import_recordings(lab, sys.argv[2:], pattern="{person}_{type}_{trial}", add_people=True)
    print(*(f"{file.state} {file.reason}" for file in report.files), sep="\\n")
"""


def test_two_processes_import_the_same(lab: Lab, tmp_path: Path) -> None:
    files = tmp_path / "files"
    files.mkdir()
    for n in range(6):
        text = "".join(f"{i / 1000:.3f},{n if i == 50 else 0}\n" for i in range(100))
        (files / f"P{n % 3}_jab_{n}.csv").write_text(f"time_s,force_N\n{text}")
    command = [sys.executable, "-c", _IMPORT, str(lab.folder), str(files)]
    both = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    told = [process.communicate()[0].splitlines() for process in both]
    assert [process.returncode for process in both] == [0, 0]
    states = Counter(line.split()[0] for lines in told for line in lines)
    assert states == {"new": 6, "known": 6}
    with lab.reading() as database:
        assert database.scalar(select(func.count()).select_from(Recording)) == 6
        assert database.scalar(select(func.count()).select_from(Source)) == 6
        assert sorted(database.scalars(select(Person.code))) == ["P0", "P1", "P2"]
    report = doctor(lab.folder)
    assert (report.findings, report.n_originals) == ((), 6)
