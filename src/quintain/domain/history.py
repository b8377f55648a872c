"""Where a result came from: each step with all its settings, bytes in and out, version and time."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

__all__ = ["Step", "hash_of"]


@dataclass(frozen=True, slots=True)
class Step:
    """One finished step; appended only on success."""

    function: str
    version: str
    settings: Mapping[str, Any]
    inputs: tuple[str, ...]
    """SHA-256 of what went in."""
    output: str
    """SHA-256 of what came out."""
    utc: str
    """When, ISO 8601."""


def hash_of(values: Any) -> str:
    """
    SHA-256 of plain values, such as all settings or all numbers of a result, whatever their order by name.

    Examples
    --------
    >>> hash_of({"rate": 2000.0, "channel": "Fz"}) == hash_of({"channel": "Fz", "rate": 2000.0})
    True
    """
    return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()
