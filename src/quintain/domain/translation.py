"""The same blow on another pad, and as another measuring chain would have shown it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from quintain.domain.as_json import answer, flag_as_json, measured_as_json
from quintain.domain.flags import Flag
from quintain.domain.measured import Measured

__all__ = ["ASSUMPTIONS", "Chain", "Translation", "translations_as_json"]

ASSUMPTIONS = (
    "The limb meets the other pad with the same mass, speed and steady push; people may strike otherwise.",
    "Both pads follow their laws in the rig file; beyond the depth that drops have proved nothing is known.",
    "What is wrong in mass, speed and law on both pads alike is taken out by the measured peak.",
    "Another chain is shown uncorrected: its ringing, its filter, and every place its samples could fall.",
)
"""Written out with every translation."""


@dataclass(frozen=True, slots=True)
class Chain:
    """Another chain: how its cell rings [Hz], its low-pass [Hz] and its sampling rate [Hz]; None for none."""

    natural_frequency: float | None = None
    damping_ratio: float = 0.02
    cutoff: float | None = None
    rate: float | None = None


@dataclass(frozen=True, slots=True)
class Translation:
    """
    One strike carried to another pad.

    ``translated_peak`` is None where a flag refuses it; ``ratio`` is measured over simulated peak on the
    pad that was hit, ``depth`` the compression of the other pad [m]. ``shown`` holds lowest, mean and
    highest peak that another chain would have shown. [N]
    """

    number: int
    pad: str
    translated_peak: Measured | None
    ratio: float
    depth: float
    flags: tuple[Flag, ...]
    shown: tuple[float, float, float] | None = None


def translations_as_json(
    translations: tuple[Translation, ...],
    *,
    version: str,
    inputs: list[tuple[str, str]],
    settings: dict[str, Any],
) -> dict[str, Any]:
    """The answer of ``quintain translate``."""
    results = {
        "translations": [
            {
                "number": t.number,
                "pad": t.pad,
                "translated_peak": measured_as_json(t.translated_peak),
                "budget": {c.name: c.u for c in t.translated_peak.budget} if t.translated_peak else {},
                "measured_over_simulated": t.ratio,
                "depth_m": t.depth,
                "shown_by_chain_N": None
                if t.shown is None
                else dict(zip(("lowest", "mean", "highest"), t.shown, strict=True)),
                "flags": [flag_as_json(f) for f in t.flags],
            }
            for t in translations
        ],
        "assumptions": list(ASSUMPTIONS),
    }
    flags = [Flag(f.code, f.message, f"strike {t.number}") for t in translations for f in t.flags]
    return answer("translate", version=version, inputs=inputs, method=settings, results=results, flags=flags)
