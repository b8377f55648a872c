"""What the uncertainties of some strikes have in common, from their budgets and the files of their rigs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select

from quintain.domain.rig import Rig
from quintain.domain.shared_error import (
    CARRIED,
    CONTRIBUTIONS,
    FREE_OF_GAIN,
    UNKNOWN,
    Circumstances,
    Source,
    shared_contributions,
    sources_of,
)
from quintain.store.lab import Lab
from quintain.store.queries_budgets import Budgets, budgets_of_results
from quintain.store.schema import RigVersion, Session

__all__ = ["shared_errors"]

Floats = NDArray[np.float64]


def shared_errors(
    lab: Lab, quantities: Sequence[str], results: Sequence[int]
) -> dict[str, dict[Source, Floats]]:
    """
    Tell apart what strikes share of their uncertainties.

    Parameters
    ----------
    lab : Lab
        The lab.
    quantities : sequence of str
        Glossary names.
    results : sequence of int
        Ids of results; one may stand several times.

    Returns
    -------
    dict of str to dict of Source to ndarray, shape (n,)
        By quantity, the signed contribution of each shared error to every result, 0 where it has no part in
        it. Where it cannot be told, :data:`~quintain.domain.shared_error.UNKNOWN` holds nan: a rig that
        states no uncertainty of its gain, or a quantity without a budget. [SI unit of the glossary]
    """
    rows: dict[int, list[int]] = {}
    for row, id in enumerate(results):
        rows.setdefault(id, []).append(row)
    known = _Known(lab)
    needed = dict.fromkeys(name for q in quantities for name in (q, *CARRIED.get(q, {}).values()))
    found: dict[str, dict[Source, Floats]] = {quantity: {} for quantity in quantities}
    for budgets in budgets_of_results(lab, list(rows), list(needed)):
        for quantity, columns in found.items():
            for source, u in known.shares(quantity, budgets).items():
                if source not in columns:
                    columns[source] = np.zeros(len(results))
                columns[source][rows[budgets.result_id]] = u
    return found


class _Known:
    """Rigs and sessions of the lab; what a strike's circumstances make it share, worked out once for each."""

    def __init__(self, lab: Lab) -> None:
        with lab.reading() as database:
            self._texts = dict(database.execute(select(RigVersion.version, RigVersion.toml)).all())
            self._sessions = dict(database.execute(select(Session.id, Session.code)).all())
        self._rigs: dict[str, Rig] = {}
        self._sources: dict[tuple[str, ...], dict[str, tuple[str, str]]] = {}

    def shares(self, quantity: str, budgets: Budgets) -> Mapping[Source, float]:
        rig = self._rig(budgets.rig_version)
        gain_stated = rig is not None and rig.calibration.u_gain is not None
        parts = shared_contributions(quantity, budgets.parts)
        if parts is None or not (gain_stated or quantity in FREE_OF_GAIN):
            return {UNKNOWN: math.nan}
        sources = self._sources_of(rig, budgets)
        shared = {}
        for name, u in parts.items():
            tie = CONTRIBUTIONS[name]
            assert tie is not None, "what is new with each strike is not among them"
            of, version = sources[tie.part]
            shared[Source(tie.part, name, of, version)] = u
        return shared

    def _rig(self, version: str) -> Rig | None:
        if not version:
            return None
        if version not in self._rigs:
            self._rigs[version] = Rig.from_toml(self._texts[version], origin=f"rig {version}")
        return self._rigs[version]

    def _sources_of(self, rig: Rig | None, budgets: Budgets) -> dict[str, tuple[str, str]]:
        session = self._sessions.get(budgets.session_id or 0, "")
        alone = "" if rig is not None else budgets.recording
        key = (budgets.rig_version, alone, session, budgets.type, budgets.method)
        if key not in self._sources:
            where = Circumstances(rig, alone, session, budgets.type, budgets.method)
            self._sources[key] = sources_of(where)
        return self._sources[key]
