"""Words of the guided tests: what is needed, and what to do."""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["GUIDES", "Guide"]


class Guide(NamedTuple):
    """Words of a guided test."""

    title: str
    sentence: str
    why: str
    needs: tuple[str, ...]
    steps: tuple[str, ...]


GUIDES = {
    "drops": Guide(
        "Drop test",
        "Drop a known mass and see whether the rig tells the truth.",
        "The speed at contact follows from the height, and from the force alone. Where both agree, all "
        "from pad to number is right.",
        (
            "A mass with a flat face, weighed to 0.05 % or better, on a guide that keeps it straight.",
            "Something to hold and catch it that is not a hand, and a helper.",
            "A rule, for the height from the face of the mass to the pad at rest, to a millimetre.",
            "The pad that people strike, and the rate you record them with.",
            "A tap test of this rig made first, so that its ringing is known.",
        ),
        (
            "Look at mount, bolts and pad; nobody stands in the line of fall.",
            "Start the recording and leave the pad alone for a second.",
            "Lift the mass to a measured height, lowest first. Release it without a push.",
            "Let it bounce until it lies still, for two seconds more. Only then lift it again.",
            "Three heights, three drops each, in one recording. Stop the recording and send it here.",
        ),
    ),
    "tap": Guide(
        "Tap test",
        "Tap the rig and learn how it rings.",
        "How the rig rings decides which peaks can be trusted. A frequency that fell since last week is a "
        "loose bolt or a changed pad.",
        (
            "A light, hard object, such as the handle of a screwdriver or a knuckle.",
            "The bare plate, where blows land; the rig at rest and nothing that hums.",
            "The rate you record strikes with; a second recording at another rate tells a folded mode.",
        ),
        (
            "Look at mount and bolts first.",
            "Start the recording and leave the rig alone for a second.",
            "Tap the plate lightly five times, two seconds apart, always on the same spot.",
            "Stop the recording and send it here; further recordings at other rates may go with it.",
        ),
    ),
}
