"""Where larger recordings by others lie on a developer's machine; a stranger's clone has none."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(os.environ.get("QUINTAIN_SHARED_DATA", Path(__file__).resolve().parents[2] / "shared" / "data"))


def shared(*parts: str) -> Path:
    """Path below the folder of larger recordings; skips the test where it is absent."""
    path = ROOT.joinpath(*parts)
    if not path.exists():
        pytest.skip(f"larger recording {'/'.join(parts)} is not on this machine")
    return path
