"""Where a result came from: each step with all its settings, bytes in and out, version and time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

__all__ = ["Step"]


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
