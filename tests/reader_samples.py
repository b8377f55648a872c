"""A small valid file of every format, for the contract that all readers keep."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

__all__ = ["SAMPLES", "Sample"]

FORCE = (1000 * np.sin(np.arange(300) / 20)).round(3)
ACC = (50 * np.cos(np.arange(300) / 30)).round(3)


@dataclass(frozen=True)
class Sample:
    """How to write a file of a format, the settings it is read with, and what must come back."""

    reader: str
    name: str
    write: Callable[[Path], None]
    traces: tuple[tuple[str, str, float, Any], ...]
    """Name, SI unit, rate and samples of each trace."""
    settings: dict[str, Any] = field(default_factory=dict)


def _columns(path: Path) -> None:
    rows = [f"{i / 1000:.3f};{f};{a}" for i, (f, a) in enumerate(zip(FORCE, ACC, strict=True))]
    path.write_text(
        "made for a test\nt [s];Kraft [N];acc [m/s^2]\n" + "\n".join(rows) + "\n", encoding="utf-8"
    )


SAMPLES = (
    Sample(
        "columns", "semicolon.csv", _columns, (("Kraft", "N", 1000.0, FORCE), ("acc", "m/s²", 1000.0, ACC))
    ),
)
