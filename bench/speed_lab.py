"""
A lab of a million strikes, all invented: to open it, to page through it, to describe groups.

``QUINTAIN_BENCH_STRIKES`` sets how many (default 1 000 000; making them takes some minutes and 1.5 GB).
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from sqlalchemy import bindparam, insert, update

from bench.row import Row
from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.store.lab import Lab
from quintain.store.queries import count_strikes, neighbours, strike_page
from quintain.store.queries_filter import Limit, StrikeFilter
from quintain.store.queries_fresh import strike_columns
from quintain.store.queries_groups import group_summary
from quintain.store.queries_lists import list_people, list_sessions
from quintain.store.schema import (
    Analysis,
    Method,
    Person,
    Recording,
    Result,
    Rig,
    RigVersion,
    Session,
    Strike,
)

__all__ = ["run"]

N_PEOPLE, PER_RECORDING, PER_SESSION = 200, 20, 200
TYPES = ("jab", "cross", "hook", "uppercut", "front kick", "roundhouse kick")


def invent(folder: Path, n: int, seed: int = 1) -> Lab:
    """A lab of so many strikes, written through its tables."""
    rng = np.random.default_rng(seed)
    lab = Lab.create(folder, name="invented", invented=True)
    began = datetime(2024, 1, 8, 8, tzinfo=UTC)
    n_sessions = -(-n // PER_SESSION)
    with lab.writing("bench") as writer:
        add = writer.database
        add.execute(insert(Rig), [{"id": i, "name": f"rig {i}"} for i in (1, 2, 3)])
        add.execute(
            insert(RigVersion), [{"version": f"{i}" * 64, "rig_id": i, "toml": ""} for i in (1, 2, 3)]
        )
        add.execute(insert(Method), [{"sha256": "e" * 64, "name": "standard", "settings": {}}])
        add.execute(insert(Person), [{"id": i + 1, "code": f"P{i + 1:03d}"} for i in range(N_PEOPLE)])
        add.execute(
            insert(Session),
            [{"id": s + 1, "code": f"S{s + 1:05d}", "when": began + timedelta(hours=4 * s)}
             for s in range(n_sessions)],
        )  # fmt: skip
    for start in range(0, n, 50_000):
        _fill(lab, rng, start, min(start + 50_000, n), began)
    return lab


def _fill(lab: Lab, rng: np.random.Generator, start: int, stop: int, began: datetime) -> None:
    ids = range(start, stop)
    values = rng.lognormal(3.0, 0.4, (len(ids), len(STRIKE_QUANTITIES)))
    values[rng.random(values.shape) < 0.1] = np.nan
    person = rng.integers(1, N_PEOPLE + 1, len(ids) // PER_RECORDING + 1)
    states = rng.choice(["waiting", "accepted", "rejected"], len(ids), p=[0.2, 0.7, 0.1])
    codes = rng.choice(["", "clipped", "few-samples"], len(ids), p=[0.9, 0.02, 0.08])
    sha = [f"{i // PER_RECORDING:064x}" for i in ids]
    recordings = [
        {"sha256": f"{r:064x}", "name": f"{r}.csv", "n_bytes": 1,
         "session_id": r * PER_RECORDING // PER_SESSION + 1,
         "when": began + timedelta(hours=4 * (r * PER_RECORDING // PER_SESSION), minutes=r % 10)}
        for r in range(start // PER_RECORDING, -(-stop // PER_RECORDING))
    ]  # fmt: skip
    analyses = [
        {"id": r + 1, "recording_sha256": f"{r:064x}", "method_sha256": "e" * 64, "n_strikes": PER_RECORDING,
         "rig_version": f"{r * PER_RECORDING // PER_SESSION % 3 + 1}" * 64, "quintain": "0", "output": ""}
        for r in range(start // PER_RECORDING, -(-stop // PER_RECORDING))
    ]  # fmt: skip
    strikes = [
        {"id": i + 1, "recording_sha256": sha[k], "session_id": i // PER_SESSION + 1,
         "position": i % PER_SESSION + 1, "start": 1.0 + i % PER_RECORDING,
         "person_id": int(person[k // PER_RECORDING]), "type": TYPES[i % len(TYPES)],
         "side": ("left", "right")[i % 2], "series": i % PER_RECORDING // 5 + 1, "state": str(states[k]),
         "note": "slipped off the pad" if i % 997 == 0 else ""}
        for k, i in enumerate(ids)
    ]  # fmt: skip
    detail = {"budget": {}, "flags": [], "contacts": [[1.0, 1.02]], "order": list(STRIKE_QUANTITIES)}
    names = [column for q in STRIKE_QUANTITIES for column in (q, f"u_{q}")]
    results = []
    for k, i in enumerate(ids):
        row = {"id": i + 1, "strike_id": i + 1, "analysis_id": i // PER_RECORDING + 1,
               "number": i % PER_RECORDING + 1, "codes": str(codes[k]), "detail": detail}  # fmt: skip
        stated = [None if v != v else v for v in values[k].tolist()]
        row |= zip(names, (v for s in stated for v in (s, None if s is None else s / 50)), strict=True)
        results.append(row)
    with lab.writing("bench") as writer:
        write = writer.database.connection().execute
        for table, rows in (
            (Recording, recordings),
            (Analysis, analyses),
            (Strike, strikes),
            (Result, results),
        ):
            write(insert(table.__table__), rows)
        in_force = (
            update(Strike.__table__).where(Strike.id == bindparam("of")).values(result_id=bindparam("of"))
        )
        write(in_force, [{"of": i + 1} for i in ids])


def _seconds(ask: Callable[[], object], times: int = 5) -> float:
    """The least of some runs: what others do on the machine only adds."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        ask()
        taken.append(time.perf_counter() - began)
    return min(taken)


_COLD = """
import sys, time
from quintain.store.lab import Lab
from quintain.store.queries import strike_page
from quintain.store.queries_groups import group_summary
began = time.perf_counter()
lab = Lab.open(sys.argv[1])
lab.facts
opened = time.perf_counter()
{question}
print(opened - began, time.perf_counter() - opened)
"""


def _cold(lab: Lab, question: str) -> tuple[float, float]:
    """In a process of its own: to open the lab, and to answer the first question."""
    child = [sys.executable, "-c", _COLD.format(question=question), str(lab.folder)]
    told = subprocess.run(child, capture_output=True, text=True, check=True).stdout.split()
    return float(told[0]), float(told[1])


def run() -> list[Row]:
    """Measure."""
    n = int(os.environ.get("QUINTAIN_BENCH_STRIKES", "1000000"))
    with tempfile.TemporaryDirectory() as folder, invent(Path(folder) / "lab", n) as lab:
        return measure(lab, n)


def measure(lab: Lab, n: int) -> list[Row]:
    """The questions of pages and reports."""
    rows = []
    first = _seconds(lambda: strike_columns(lab), 1)
    rows.append(Row(f"read {n} strikes without any cache", first, "s", at_most=60.0))
    opened, page = _cold(lab, "strike_page(lab, sort='peak_force', offset=1000)")
    rows.append(Row("open the lab", opened, "s", at_most=1.0))
    rows.append(Row("first page of a new process, from the cache", page, "s", at_most=1.0))
    _, groups = _cold(lab, "group_summary(lab, by=('type', 'side'))")
    rows.append(Row("first group summary of a new process", groups, "s", at_most=1.0))
    filters = {
        "all": StrikeFilter(),
        "a person": StrikeFilter(people=("P007",)),
        "accepted jabs, left": StrikeFilter(types=("jab",), sides=("left",), states=("accepted",)),
        "flagged, strong": StrikeFilter(flags=("clipped",), limits=(Limit("peak_force", 20.0, 40.0),)),
        "text": StrikeFilter(text="slipped"),
    }
    worst, where = 0.0, ""
    for word, chosen in filters.items():
        total = count_strikes(lab, chosen)
        for sort in ("order", "when", "person", "type", "state", "flags", "peak_force", "u_impulse"):
            for offset in (0, total // 2, max(total - 100, 0)):
                took = _seconds(
                    lambda chosen=chosen, sort=sort, offset=offset: strike_page(  # type: ignore[misc]
                        lab, chosen, sort=sort, offset=offset, descending=offset > 0
                    )
                )
                if took > worst:
                    worst, where = took, f"{word}, by {sort}, from {offset}"
    rows.append(Row(f"slowest filtered page of 100 ({where})", 1e3 * worst, "ms", at_most=50.0))
    rows.append(
        Row("neighbours of a strike", 1e3 * _seconds(lambda: neighbours(lab, n // 2)), "ms", at_most=50.0)
    )
    rows.append(Row("page after one strike was reviewed", 1e3 * _after_review(lab), "ms", at_most=50.0))
    for by in (
        (),
        ("type", "side"),
        ("person",),
        ("session",),
        ("person", "type", "side"),
    ):
        took = _seconds(lambda by=by: group_summary(lab, by=by), 3)  # type: ignore[misc]
        rows.append(Row(f"summary of 5 quantities by {', '.join(by) or 'nothing'}", took, "s", at_most=1.0))
    rows.append(Row("list of sessions", _seconds(lambda: list_sessions(lab), 3), "s", at_most=1.0))
    rows.append(Row("list of people", _seconds(lambda: list_people(lab), 3), "s", at_most=1.0))
    return rows


def _after_review(lab: Lab) -> float:
    def review_and_look(id: int) -> float:
        with lab.writing("bench") as writer:
            writer.database.execute(update(Strike).where(Strike.id == id).values(state="rejected"))
        return _seconds(lambda: strike_page(lab, sort="peak_force", offset=500), 1)

    return min(review_and_look(id) for id in range(11, 16))
