"""
Landings of others from their files to peaks by person and trial: import, detection and the lab in one go.

Source: github.com/jmablog/common-parkour-vault-techniques @3ad041d, CC BY-SA 4.0: four people, four kinds
of landing, three trials each, one landing a file, 1 kHz. The peaks to compare with are computed here from
the columns of the files alone.
"""

from __future__ import annotations

import numpy as np
import pytest
from sqlalchemy import select

import quintain as q
from quintain.domain.method import Correction
from quintain.domain.study_plan import StudyPlan
from quintain.store.lab import Lab
from quintain.store.schema import Person, Recording, Strike
from quintain.study.answers import ReliabilityAnswer
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.import_recordings import import_recordings
from quintain.tasks.study import run_study
from shared_data import shared

PEOPLE = ("A01", "A02", "A03", "A04")
KINDS = ("dropD", "dashS")
"""Two of the four: with both feet from a height, with one foot after a vault."""
HEADER = 13
"""Lines before the numbers."""


def peak_of(path) -> float:
    """Largest vertical force less the mean of the empty plate before the contact the file states. [N]"""
    text = path.read_text(encoding="latin-1").splitlines()
    (line,) = (row for row in text if row.startswith("Contact period start (sample #)"))
    force = np.loadtxt(text[HEADER:], usecols=2)
    return float(force.max() - force[: int(line.split("\t")[1]) - 5].mean())


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    folder = shared("landings")
    files = [folder / f"{who}_{kind}_{n}.txt" for who in PEOPLE for kind in KINDS for n in (1, 2, 3)]
    with Lab.create(tmp_path_factory.mktemp("landings") / "lab", name="landings of others") as lab:
        report = import_recordings(
            lab, files, pattern="{person}_{type}_{trial}", channel="Fz", session="landings", add_people=True,
            add_types=True, add_sessions=True, who="tester",
        )  # fmt: skip
        assert len(report.of("new")) == len(files)
        # a plate has no rig file here: what its samples say, uncorrected
        method = q.Method(name="plate", correction=Correction(kind="none"))
        run = analyse_lab(lab, who="tester", session="landings", method=method)
        assert run.failed == ()
        yield lab


def test_each_file_is_one_event_of_its_person_and_kind(lab):
    with lab.reading() as database:
        rows = database.execute(
            select(Recording.name, Recording.trial, Person.code, Strike.type)
            .join(Strike, Strike.recording_sha256 == Recording.sha256)
            .join(Person, Person.id == Strike.person_id)
        ).all()
    told = sorted(f"{code}_{kind}_{trial}.txt" for _, trial, code, kind in rows)
    assert told == sorted(row.name for row in rows)
    assert len(rows) == len(PEOPLE) * len(KINDS) * 3


def test_peaks_by_person_and_trial_are_those_of_the_files(lab):
    with lab.reading() as database:
        strikes = database.scalars(select(Strike)).all()
        found = {strike.recording.name: strike.result for strike in strikes}
        for name, result in found.items():
            peak = peak_of(shared("landings", name))
            # two estimates of the zero of the empty plate, each of some 100 samples or more with 3.5 N of
            # noise, a knock or a drift of a newton among them
            assert result.peak_force_raw == pytest.approx(peak, abs=2.0), name
            assert abs(result.peak_force_raw - peak) < 4 * max(result.u_peak_force_raw or 0.0, 1.0), name


def test_a_study_of_them_is_the_one_of_the_columns_alone(lab):
    plan = StudyPlan.from_toml(
        'code = "landings"\ntitle = "Landings of others"\nquantities = ["peak_force_raw"]\n'
        '[select]\nunreviewed = true\n[[reliability]]\nacross = "trial"\nby = "type"\n'
    )
    result = run_study(lab, plan)
    assert result.n_strikes == len(PEOPLE) * len(KINDS) * 3
    found = {a.group: a.icc.value for a in result.answers.answers if isinstance(a, ReliabilityAnswer)}
    for kind in KINDS:
        table = [[peak_of(shared("landings", f"{who}_{kind}_{n}.txt")) for n in (1, 2, 3)] for who in PEOPLE]
        # peaks agree within 2 N of hundreds between trials
        assert found[kind] == pytest.approx(anova_icc(np.array(table)), abs=0.01), kind


def anova_icc(table) -> float:
    """ICC(2,1) by its definition, Shrout and Fleiss (1979), from the mean squares alone."""
    n, k = table.shape
    grand = table.mean()
    rows = k * ((table.mean(axis=1) - grand) ** 2).sum() / (n - 1)
    columns = n * ((table.mean(axis=0) - grand) ** 2).sum() / (k - 1)
    rest = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + grand
    error = (rest**2).sum() / ((n - 1) * (k - 1))
    return (rows - error) / (rows + (k - 1) * error + k * (columns - error) / n)
