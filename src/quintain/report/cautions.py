"""The cautions of the trade, said on every page that touches them."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "DROP_CAUTIONS",
    "LOAD_CAUTIONS",
    "LOCAL_RULES",
    "RIG_CAUTIONS",
    "STRIKE_CAUTIONS",
    "TAP_CAUTIONS",
    "Caution",
]


@dataclass(frozen=True, slots=True)
class Caution:
    """A few words in bold, then one or two sentences."""

    lead: str
    words: str


HANDS = Caution(
    "Hands.", "Bare or thinly padded cells injure hands and wrists; check the pad before every session."
)
FALLING = Caution(
    "Falling mass.",
    "Guide and catch every dropped mass, and keep hands and feet out of the line of its fall.",
)
MOUNT = Caution(
    "Mount.",
    "Blows work bolts and anchors loose; inspect mount and wall, and stop when anything moves or rattles.",
)
OVERLOAD = Caution(
    "Overload.",
    "After a force beyond the safe limit of the cell, check zero and calibration before further use.",
)

TAPPING = Caution(
    "Tapping.",
    "Tap lightly, with a soft hammer or a knuckle: a hard tap on a bare plate can overload the cell.",
)
LOADS = Caution(
    "Hanging loads.", "Keep feet and hands clear, and load in steps that stay below the capacity of the cell."
)

STRIKE_CAUTIONS = (HANDS, MOUNT, OVERLOAD, FALLING)
DROP_CAUTIONS = (FALLING, HANDS, MOUNT, OVERLOAD)
TAP_CAUTIONS = (TAPPING, MOUNT, HANDS)
LOAD_CAUTIONS = (LOADS, OVERLOAD)
RIG_CAUTIONS = (FALLING, HANDS, MOUNT, OVERLOAD, TAPPING, LOADS)

LOCAL_RULES = (
    "Local rules, ethics boards and licensed practice come first. Quintain is not a medical device. Its "
    "values describe blows on a padded cell: published tolerance values of the human body are context "
    "for researchers and never advice."
)
