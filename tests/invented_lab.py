"""An invented lab, written through the tables: rigs, sessions, strikes and results of no real person."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from sqlalchemy import insert, update

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.store.lab import Lab
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

__all__ = ["invent_lab"]

BEGAN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def invent_lab(
    folder: Path,
    *,
    n_sessions: int = 4,
    n_people: int = 5,
    per_recording: int = 12,
    seed: int = 1,
    url: str = "",
) -> Lab:
    """
    Make a lab of sessions in which every person strikes one recording full.

    Every quantity is drawn at random; some are not stated, some strikes are flagged, some reviewed.
    """
    rng = np.random.default_rng(seed)
    lab = Lab.create(folder, name="invented lab", invented=True, url=url)
    types, sides = ("jab", "cross", "roundhouse kick"), ("left", "right")
    with lab.writing("inventor") as writer:
        add = writer.database
        add.add_all(Rig(id=i, name=f"rig {i}", current=f"{i}" * 64) for i in (1, 2))
        add.flush()
        add.add_all(RigVersion(version=f"{i}" * 64, rig_id=i, toml=f"name = 'rig {i}'\n") for i in (1, 2))
        add.add(Method(sha256="e" * 64, name="standard", settings={"invented": True}))
        add.add_all(Person(id=i + 1, code=f"P{i + 1:02d}", body_mass=60.0 + i) for i in range(n_people))
        add.add_all(
            Session(id=i + 1, code=f"S{i + 1}", title=f"day {i + 1}", when=BEGAN + timedelta(days=7 * i),
                    rig_id=1 + i % 2)
            for i in range(n_sessions)
        )  # fmt: skip
        add.flush()
        strike_id = 0
        for s in range(n_sessions):
            place = 0
            for p in range(n_people):
                sha = f"{s * n_people + p:064x}"
                add.add(
                    Recording(sha256=sha, name=f"{s}-{p}.csv", n_bytes=1, session_id=s + 1, rig_id=1 + s % 2,
                              person_id=p + 1, when=BEGAN + timedelta(days=7 * s, minutes=5 * p))
                )  # fmt: skip
                add.flush()
                analysis = Analysis(
                    recording_sha256=sha, method_sha256="e" * 64, rig_version=f"{1 + s % 2}" * 64,
                    quintain="0", output=sha, n_strikes=per_recording,
                )  # fmt: skip
                add.add(analysis)
                add.flush()
                strikes, results = [], []
                for k in range(per_recording):
                    strike_id, place = strike_id + 1, place + 1
                    state = ("accepted", "accepted", "waiting", "rejected")[int(rng.integers(4))]
                    strikes.append(
                        {"id": strike_id, "recording_sha256": sha, "session_id": s + 1, "position": place,
                         "start": 1.0 + 2 * k, "person_id": p + 1 if k % 11 else None, "type": types[k % 3],
                         "side": sides[k % 2], "series": 1 + k // 6, "state": state,
                         "reason": "slipped" if state == "rejected" else ""}
                    )  # fmt: skip
                    row = {"strike_id": strike_id, "analysis_id": analysis.id, "number": k + 1,
                           "codes": ("", "", "clipped", "clipped gap")[int(rng.integers(4))]}  # fmt: skip
                    for name in STRIKE_QUANTITIES:
                        stated = rng.random() > 0.1
                        value = float(np.exp(rng.normal(3 + 0.1 * p, 0.3)))
                        row |= {name: value if stated else None, f"u_{name}": value / 50 if stated else None}
                    row["detail"] = {
                        "start": 1.0 + 2 * k,
                        "contacts": [[1.0 + 2 * k, 1.02 + 2 * k]], "budget": {}, "others": {},
                        "force_kind": "cell", "modes": [], "periods_in_pulse": None, "samples_in_pulse": 40.0,
                        "order": [name for name in STRIKE_QUANTITIES if row[name] is not None],
                        "flags": [{"code": c, "message": f"invented {c}", "where": ""}
                                  for c in row["codes"].split()],
                    }  # fmt: skip
                    results.append(row)
                add.execute(insert(Strike), strikes)
                ids = list(
                    add.scalars(insert(Result).returning(Result.id, sort_by_parameter_order=True), results)
                )
                add.execute(
                    update(Strike),
                    [{"id": s["id"], "result_id": r} for s, r in zip(strikes, ids, strict=True)],
                )
    return lab
