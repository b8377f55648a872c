"""What strikes share of their measurement uncertainty, in words."""

from __future__ import annotations

from quintain.quantities import GLOSSARY
from quintain.report.rounding import number
from quintain.study.common_part import CommonPart

__all__ = ["PARTS", "named_parts"]

PARTS = {
    "gain": "gain of the cell",
    "sensor": "speed sensor",
    "plate": "plate",
    "ringing": "ringing of the rig",
    "set-up": "set-up of the speed",
    "pulse": "shape of the pulse",
    "limb": "how the limb moves",
}
"""By part of :class:`~quintain.domain.shared_error.Tie`."""


def named_parts(common: CommonPart, quantity: str) -> str:
    """
    Parts with their standard uncertainties in the shown unit; those under a tenth of the whole are not named.

    Examples
    --------
    >>> named_parts(CommonPart(5.0, (("gain", 4.0), ("pulse", 3.0), ("ringing", 0.1))), "peak_force")
    'gain of the cell 4.0, shape of the pulse 3.0'
    """
    factor = GLOSSARY[quantity].shown_factor
    return ", ".join(
        f"{PARTS[part]} {number(u * factor, 2)}" for part, u in common.parts if u >= 0.1 * common.u
    )
