"""
Quintain: what a strike on a padded load cell really was, and how sure one can be.

The names below are the whole public interface for scripts; they load what they need when first
used, so that importing the package is cheap.

Examples
--------
>>> import quintain as q
>>> rig = q.Rig.from_toml('''
... name = "wall pad (invented)"
... [[modes]]
... natural_frequency = 212.0
... damping_ratio = 0.02
... ''')
>>> rig.name
'wall pad (invented)'
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.domain.analysis import Analysis
    from quintain.domain.flags import Flag
    from quintain.domain.measured import Measured
    from quintain.domain.method import Method
    from quintain.domain.recording import Recording
    from quintain.domain.rig import Rig
    from quintain.domain.strike import Strike
    from quintain.domain.trace import Trace
    from quintain.errors import QuintainError
    from quintain.readers.registry import read
    from quintain.tasks.analyse import analyse, find_strikes

__all__ = [
    "Analysis",
    "Flag",
    "Measured",
    "Method",
    "QuintainError",
    "Recording",
    "Rig",
    "Strike",
    "Trace",
    "__version__",
    "analyse",
    "find_strikes",
    "read",
]

_HOME = {
    "Analysis": "quintain.domain.analysis",
    "Flag": "quintain.domain.flags",
    "Measured": "quintain.domain.measured",
    "Method": "quintain.domain.method",
    "QuintainError": "quintain.errors",
    "Recording": "quintain.domain.recording",
    "Rig": "quintain.domain.rig",
    "Strike": "quintain.domain.strike",
    "Trace": "quintain.domain.trace",
    "analyse": "quintain.tasks.analyse",
    "find_strikes": "quintain.tasks.analyse",
    "read": "quintain.readers.registry",
}


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'quintain' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
