"""Analysing a lab: the same bits anywhere, nothing done twice, nothing lost."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor

import pytest
from sqlalchemy import func, select

import quintain as q
from quintain.errors import LabError, UsageError
from quintain.store.lab import Lab
from quintain.store.schema import Analysis, Audit, Recording, Strike
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.cluster import dask_crew, local_crew
from quintain.tasks.lab_inputs import stale
from quintain.tasks.progress import Cancelled
from quintain.tasks.replay import replay
from simulated_lab import RIG, make_lab, set_rig


@pytest.fixture
def lab(tmp_path):
    with make_lab(tmp_path, n=3, broken=True) as lab:
        yield lab


def outputs(run):
    return [(one.name, one.output) for one in run.analysed]


def count(lab, table):
    with lab.reading() as database:
        return database.scalar(select(func.count()).select_from(table))


def test_a_broken_file_stops_no_other_and_stays_known(lab):
    run = analyse_lab(lab, who="tester")
    assert [one.name for one in run.analysed] == ["blow_000.csv", "blow_001.csv", "blow_002.csv"]
    assert run.n_strikes == 4
    (failed,) = run.failed
    assert (failed.name, failed.code) == ("broken.csv", "recording")
    assert failed.message.startswith("broken.csv: ")
    with lab.reading() as database:
        entry = database.scalars(select(Audit).where(Audit.action == "analysis failed")).one()
        assert entry.subject_id == failed.recording
        places = database.execute(select(Strike.position, Recording.name).join(Strike.recording)).all()
    assert sorted(places) == [
        (1, "blow_000.csv"), (2, "blow_001.csv"), (3, "blow_001.csv"), (4, "blow_002.csv"),
    ]  # fmt: skip


def test_what_is_done_is_not_done_again(lab):
    first = analyse_lab(lab, who="tester")
    for again in (False, True):
        run = analyse_lab(lab, who="tester", again=again)
        assert (run.analysed, run.up_to_date, len(run.failed)) == ((), 3, 1)
    assert count(lab, Analysis) == len(first.analysed)


def test_processes_and_a_cluster_give_the_same_bits(lab):
    """This process, two processes, and two workers of dask.distributed, each with its own method."""
    distributed = pytest.importorskip("distributed")
    hashes = []
    for kind in ("here", "processes", "dask"):
        # another name and nothing else: the numbers must not know it
        method = q.Method(name=kind)
        if kind == "here":
            run = analyse_lab(lab, who="tester", method=method)
        elif kind == "processes":
            with local_crew(2) as (executor, in_flight):
                run = analyse_lab(lab, who="tester", method=method, executor=executor, in_flight=in_flight)
            assert replay(lab, run.analysed[1].saved.analysis_id).same
        else:
            with (
                distributed.LocalCluster(
                    n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
                ) as cluster,
                dask_crew(cluster.scheduler_address) as (executor, in_flight),
            ):
                run = analyse_lab(lab, who="tester", method=method, executor=executor, in_flight=in_flight)
        assert len(run.failed) == 1
        hashes.append(outputs(run))
    assert len(hashes[0]) == 3
    assert hashes[0] == hashes[1] == hashes[2]


def test_workers_of_another_version_are_refused_in_words(monkeypatch):
    distributed = pytest.importorskip("distributed")
    from quintain.tasks import cluster as module

    theirs = {"quintain": "0.0.1", "numpy": "2.0", "scipy": "1.14", "numba": "0.61"}
    # the answer a worker gives, without a worker of another version at hand
    monkeypatch.setattr(distributed.Client, "run", lambda *_, **__: {"tcp://other:1": theirs})
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
        ) as made,
        pytest.raises(LabError, match=r"tcp://other:1 runs quintain 0\.0\.1.*Install the same"),
        module.dask_crew(made.scheduler_address),
    ):
        pass


def test_a_missing_extra_and_an_absent_cluster_are_said(monkeypatch):
    pytest.importorskip("distributed")
    with pytest.raises(UsageError, match="expected the address"), dask_crew("no address"):
        pass
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match=r"pip install 'quintain\[dask\]'"), dask_crew("tcp://127.0.0.1:9"):
        pass


def test_tags_survive_and_a_newer_rig_is_used_only_when_asked(lab):
    analyse_lab(lab, who="tester")
    with lab.writing("reviewer") as writer:
        strike = writer.database.scalars(select(Strike).where(Strike.position == 1)).one()
        strike.state, strike.note, strike.type = "accepted", "clean", "cross"
        first = strike.result_id
    version = set_rig(lab, RIG.replace("150.0", "151.0"))
    assert [list(wanted.because) for wanted in stale(lab)] == [["rig"]] * 3
    assert version in stale(lab)[0].because["rig"]
    assert analyse_lab(lab, who="tester").analysed == ()
    run = analyse_lab(lab, who="tester", again=True)
    assert [one.saved.found_again for one in run.analysed] == [1, 2, 1]
    assert stale(lab) == []
    with lab.reading() as database:
        strike = database.scalars(select(Strike).where(Strike.position == 1)).one()
        assert (strike.state, strike.note, strike.type) == ("accepted", "clean", "cross")
        assert strike.result_id != first
    assert count(lab, Analysis) == 6


def test_what_was_stated_anew_is_analysed_without_being_asked(lab):
    analyse_lab(lab, who="tester")
    with lab.writing("tester") as writer:
        writer.database.scalars(
            select(Recording).where(Recording.name == "blow_001.csv")
        ).one().speeds = "8.0+-0.2; 7.0+-0.2"
    run = analyse_lab(lab, who="tester")
    assert [one.name for one in run.analysed] == ["blow_001.csv"]
    with lab.reading() as database:
        strikes = database.scalars(select(Strike).where(Strike.recording_sha256 == run.analysed[0].recording))
        # what was typed, in order
        assert [strike.result.approach_speed for strike in strikes] == [8.0, 7.0]


def test_a_new_version_of_a_method_makes_the_old_one_stale(lab):
    with lab.reading() as database:
        one = database.scalars(select(Recording.sha256).where(Recording.name == "blow_000.csv")).one()
    analyse_lab(lab, who="tester", recordings=[one], method=q.Method(name="ours"))
    analyse_lab(lab, who="tester", session="S1")
    assert stale(lab) == []
    newer = q.Method(name="ours", version=2, detection=q.Method().detection)
    analyse_lab(lab, who="tester", recordings=[one], method=newer)
    assert stale(lab) == []
    with lab.writing("tester") as writer:  # back in force, as if it had never been analysed by the newer
        rows = writer.database.scalars(select(Analysis).where(Analysis.recording_sha256 == one)).all()
        for row in rows:
            row.current = row.method_sha256 != newer.sha256
    assert [list(wanted.because) for wanted in stale(lab)] == [["method"]]


def test_altered_and_missing_originals_are_told_by_their_hash(lab):
    with lab.reading() as database:
        shas = dict(database.execute(select(Recording.name, Recording.sha256)).all())
    altered = lab.originals.path(shas["blow_000.csv"])
    altered.chmod(0o644)
    altered.write_text(altered.read_text().replace("4", "5"))
    lab.originals.path(shas["blow_001.csv"]).unlink()
    run = analyse_lab(lab, who="tester")
    assert [one.name for one in run.analysed] == ["blow_002.csv"]
    messages = {one.name: one.message for one in run.failed}
    assert "not what was imported" in messages["blow_000.csv"]
    assert "missing" in messages["blow_001.csv"]


def test_unknown_names_are_refused(lab):
    with pytest.raises(LabError, match="no session 'S9'"):
        analyse_lab(lab, who="tester", session="S9")
    with pytest.raises(LabError, match="no rig 'x'"):
        analyse_lab(lab, who="tester", rig="x")
    with pytest.raises(LabError, match="not in the lab"):
        analyse_lab(lab, who="tester", recordings=["f" * 64])


def test_a_cancelled_run_keeps_what_is_done(lab):
    def stop(what, done, total):
        assert (what, total) == ("recordings", 4)
        if done == 2:
            raise Cancelled

    with pytest.raises(Cancelled), ThreadPoolExecutor(1) as executor:
        analyse_lab(lab, who="tester", executor=executor, in_flight=1, progress=stop)
    assert count(lab, Analysis) == 1  # the broken one is the second by time and name
    assert len(analyse_lab(lab, who="tester").analysed) == 2


@pytest.mark.skipif(sys.platform == "win32", reason="there is no such signal")
def test_after_a_kill_the_next_run_goes_on(tmp_path):
    """The hard kill lands while recordings are saved one by one."""
    with make_lab(tmp_path, n=8) as lab:
        folder = lab.folder
    code = (
        "import sys, time\n"
        "from quintain.store.lab import Lab\n"
        "from quintain.tasks.analyse_lab import analyse_lab\n"
        "def tell(what, done, total):\n"
        "    print(done, flush=True)\n"
        "    time.sleep(60 if done == 3 else 0)\n"
        "analyse_lab(Lab.open(sys.argv[1]), who='killed', progress=tell)\n"
    )
    child = subprocess.Popen([sys.executable, "-c", code, str(folder)], stdout=subprocess.PIPE, text=True)
    acknowledged = 0
    assert child.stdout is not None
    for line in child.stdout:
        acknowledged = int(line)
        if acknowledged == 3:
            os.kill(child.pid, signal.SIGKILL)
            break
    child.wait()
    child.stdout.close()
    with Lab.open(folder) as lab:
        saved = count(lab, Analysis)
        assert acknowledged <= saved < 8
        run = analyse_lab(lab, who="tester")
        assert (len(run.analysed), run.up_to_date) == (8 - saved, saved)
        with lab.reading() as database:
            strikes = database.scalars(select(Strike).order_by(Strike.position)).all()
        assert [s.position for s in strikes] == list(range(1, 13))
        assert all(s.result_id for s in strikes)


class Dies(ThreadPoolExecutor):
    """An executor whose process dies at the second task."""

    def submit(self, call, /, *args, **kwargs):
        if self.__dict__.setdefault("given", 0):
            raise BrokenExecutor
        self.given = 1
        return super().submit(call, *args, **kwargs)


class Fails(Executor):
    """An executor in which every task ends with the same exception."""

    def __init__(self, problem):
        self.problem = problem

    def submit(self, call, /, *args, **kwargs):
        future = Future()
        future.set_exception(self.problem)
        return future


@pytest.mark.parametrize(
    ("problem", "said"),
    [(MemoryError(), "not enough memory"), (KeyError("x"), "a defect of quintain: KeyError: 'x'")],
)
def test_what_nobody_foresaw_stops_no_other(lab, problem, said):
    run = analyse_lab(lab, who="tester", executor=Fails(problem))
    assert len(run.failed) == 4
    assert all(said in failed.message for failed in run.failed)
    assert len(analyse_lab(lab, who="tester").analysed) == 3


def test_a_dead_process_is_one_clear_error(lab):
    with Dies(1) as executor, pytest.raises(LabError, match="goes on from there"):
        analyse_lab(lab, who="tester", executor=executor, in_flight=1)
    assert count(lab, Analysis) <= 1
    assert len(analyse_lab(lab, who="tester").analysed) >= 2
