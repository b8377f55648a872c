"""Any values as plain ones for JSON: names as in the code, numbers that are not finite as null."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

__all__ = ["plain"]


def plain(value: Any) -> Any:
    """
    Dataclasses and named tuples as mappings, arrays and tuples as lists, times and paths as text.

    Examples
    --------
    >>> from quintain.domain.strike import Contact
    >>> plain((Contact(0.0, 0.012), math.nan, np.array([1.5]), datetime(2026, 11, 25), Path("a.csv")))
    [{'start': 0.0, 'end': 0.012}, None, [1.5], '2026-11-25T00:00:00', 'a.csv']
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return {name: plain(getattr(value, name)) for name in value._fields}
    if isinstance(value, Mapping):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(entry) for entry in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, datetime):
        return value.isoformat()
    return str(value) if isinstance(value, Path) else value
