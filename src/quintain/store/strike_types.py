"""Kinds of strikes as the trade names them; a lab may add its own."""

from __future__ import annotations

__all__ = ["OF_THE_TRADE"]

OF_THE_TRADE: dict[str, str] = {
    "jab": "punch",
    "cross": "punch",
    "hook": "punch",
    "uppercut": "punch",
    "overhand": "punch",
    "straight punch": "punch",
    "reverse punch": "punch",
    "backfist": "punch",
    "hammer fist": "punch",
    "palm heel": "palm",
    "elbow": "elbow",
    "knee": "knee",
    "front kick": "kick",
    "push kick": "kick",
    "roundhouse kick": "kick",
    "turning kick": "kick",
    "side kick": "kick",
    "back kick": "kick",
    "low kick": "kick",
    "axe kick": "kick",
    "stick strike": "stick",
    "stick thrust": "stick",
}
"""Name and family; common practice, no source."""
