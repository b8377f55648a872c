"""Where the bytes came from, in the words every report uses."""

from __future__ import annotations

from typing import Protocol

from quintain.domain.rig import Rig
from quintain.report.parts import Fact
from quintain.report.rig_facts import exactly
from quintain.report.rounding import number

__all__ = ["recording_facts", "recording_pair"]


class Analysed(Protocol):
    """What analyses of strikes and of drops have in common."""

    @property
    def path(self) -> str:
        """The recording's file."""

    @property
    def sha256(self) -> str:
        """Hash of its bytes."""

    @property
    def n_bytes(self) -> int:
        """Its size."""

    @property
    def channel(self) -> str:
        """Which channel."""

    @property
    def unit_in_file(self) -> str:
        """Its unit as the file wrote it."""

    @property
    def rate(self) -> float:
        """Sampling rate. [Hz]"""

    @property
    def duration(self) -> float:
        """Length. [s]"""

    @property
    def rig(self) -> Rig | None:
        """The rig file's content."""

    @property
    def quintain(self) -> str:
        """Version of the software."""


def recording_facts(analysed: Analysed, *between: Fact) -> tuple[Fact, ...]:
    """File, hash, size, channel, rate, length, rig version, software; ``between`` before the software."""
    size = f"{analysed.n_bytes:,}".replace(",", "\u202f")
    unit = f", in the file as {analysed.unit_in_file}" if analysed.unit_in_file else ""
    rig = analysed.rig
    return (
        *recording_pair(analysed.path, analysed.sha256),
        Fact("Size", f"{size} bytes"),
        Fact("Channel", f"{analysed.channel}{unit}"),
        Fact("Sampling rate", f"{exactly(analysed.rate)} Hz"),
        Fact("Length", f"{number(analysed.duration, 4)} s"),
        Fact("Rig version", rig.version if rig else "no rig file", mono=rig is not None),
        *between,
        Fact("Software", f"quintain {analysed.quintain}"),
    )


def recording_pair(path: str, sha256: str) -> tuple[Fact, Fact]:
    """File and hash of one recording."""
    return Fact("Recording", path or "made in memory"), Fact("SHA-256", sha256 or "none", mono=True)
