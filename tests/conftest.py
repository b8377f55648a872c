"""Shared set-up: the tests' own folder on the path, and reproducible Hypothesis runs."""

from __future__ import annotations

import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parent))
settings.register_profile("suite", deadline=None, derandomize=True, database=None, max_examples=50)
settings.load_profile("suite")
