"""Views of a lab as plain values for JSON."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from quintain.domain.as_json import clock_as_json, flag_as_json, measured_as_json
from quintain.domain.clock import ClockMatch
from quintain.domain.flags import Flag
from quintain.domain.measured import Measured
from quintain.domain.rig_state import RigState
from quintain.domain.strike import Strike
from quintain.quantities import GLOSSARY
from quintain.store.queries import Value
from quintain.store.queries_groups import GroupRow, Summary
from quintain.store.queries_lists import Counts

__all__ = ["view_as_json"]


def view_as_json(view: object) -> Any:
    """
    A view of :mod:`quintain.tasks.lab_views`: its fields by name, quantities as ``{"value", "u", "unit"}``.
    """
    match view:
        case None | bool() | int() | float() | str():
            return view
        case datetime():
            return view.isoformat()
        case Flag():
            return flag_as_json(view)
        case ClockMatch():
            return clock_as_json(view)
        case Measured():
            return measured_as_json(view)
        case Strike():
            return {
                "number": view.number,
                "start_s": view.start,
                "contacts_s": [[contact.start, contact.end] for contact in view.contacts],
                "force_kind": view.force_kind,
                "quantities": {name: measured_as_json(m) for name, m in view.quantities.items()},
                "flags": [flag_as_json(flag) for flag in view.flags],
            }
        case RigState():
            return {
                "verdict": view.verdict,
                "reasons": list(view.reasons),
                "due": [
                    {"kind": d.kind, "last": view_as_json(d.last), "allowed_days": d.allowed_days,
                     "overdue": d.overdue}
                    for d in view.due
                ],
            }  # fmt: skip
        case Counts():
            return {**view._asdict(), "total": view.total}
        case GroupRow():
            return {
                "levels": list(view.levels),
                "n_strikes": view.n_strikes,
                "n_people": view.n_people,
                "quantities": _quantities(view.quantities),
            }
        case tuple() if hasattr(view, "_asdict"):
            return {name: view_as_json(value) for name, value in view._asdict().items()}
        case Mapping():
            if any(isinstance(value, Value) for value in view.values()):
                return _quantities(view)
            return {str(name): view_as_json(value) for name, value in view.items()}
        case tuple() | list():
            return [view_as_json(value) for value in view]
    if dataclasses.is_dataclass(view):
        return {f.name: view_as_json(getattr(view, f.name)) for f in dataclasses.fields(view)}
    raise TypeError(f"no way to write {type(view).__name__} as JSON")


def _quantities(told: Mapping[str, Value | Summary]) -> dict[str, Any]:
    return {name: {**value._asdict(), "unit": GLOSSARY[name].unit} for name, value in told.items()}
