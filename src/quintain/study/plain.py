"""Answers as plain values for JSON: names as in the code, numbers that are not finite as null."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np

__all__ = ["plain"]


def plain(value: Any) -> Any:
    """
    Dataclasses and named tuples as mappings, arrays and tuples as lists.

    Examples
    --------
    >>> from quintain.study.answers import Refused
    >>> plain((Refused("impulse", "agreement", "one rig only"), math.nan, np.array([1.5])))
    [{'quantity': 'impulse', 'question': 'agreement', 'reason': 'one rig only'}, None, [1.5]]
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return {name: plain(getattr(value, name)) for name in value._fields}
    if isinstance(value, dict):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(entry) for entry in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value
