"""What a file of a data acquisition program holds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from quintain.domain.trace import Trace
from quintain.errors import ChannelError, UnitError

__all__ = ["FoundCalibration", "Recording"]


@dataclass(frozen=True, slots=True)
class FoundCalibration:
    """
    A calibration that a file holds for a channel.

    Parameters
    ----------
    channel : str
        Name of the channel, as its trace would be called.
    text : str
        What the file says, in words and numbers.
    applied : bool
        Whether the samples of the trace have gone through it.
    """

    channel: str
    text: str
    applied: bool


@dataclass(frozen=True, slots=True)
class Recording:
    """
    A recording: its traces in SI units, its raw header whole, and the bytes it came from.

    Parameters
    ----------
    path : str
        Where it was read from; empty for data made in memory.
    digest : str or callable
        Hash of the file's bytes as they lay on disk, or what computes it when it is first asked for:
        hashing a large file takes longer than opening it. Empty for data made in memory.
    n_bytes : int
        Size of the file.
    traces : tuple of Trace
        One per channel, each with its own rate.
    header : str
        Everything the file said before its numbers, unaltered.
    started : datetime or None
        Start of the recording, where the file tells.
    reader : str
        Name of the reader that understood the file.
    notes : tuple of str
        What the reader had to conclude, in words.
    calibrations : tuple of FoundCalibration
        Calibrations that the file holds, used or not.
    parts : tuple of (str, callable)
        For recordings of several files: path of each other file, and what computes its hash.
    """

    path: str
    digest: str | Callable[[], str]
    n_bytes: int
    traces: tuple[Trace, ...]
    header: str = ""
    started: datetime | None = None
    reader: str = ""
    notes: tuple[str, ...] = ()
    calibrations: tuple[FoundCalibration, ...] = ()
    parts: tuple[tuple[str, Callable[[], str]], ...] = ()

    @property
    def sha256(self) -> str:
        """Hash of the file's bytes as they lay on disk (SHA-256, hexadecimal)."""
        return self.digest if isinstance(self.digest, str) else self.digest()

    def trace(self, name: str | None = None, *, quantity: str = "force") -> Trace:
        """
        Pick one trace by name, or the only one of a quantity.

        Raises
        ------
        ChannelError
            If there is no such channel, or more than one and no name was given.
        UnitError
            If no channel is known to be of the quantity, and there are channels without a unit.
        """
        where = self.path or "recording"
        listing = ", ".join(f"{t.name!r} ({t.quantity}, {t.unit})" for t in self.traces) or "none"
        if name is not None:
            found = [t for t in self.traces if t.name == name]
            if not found:
                raise ChannelError(f"{where}: there is no channel {name!r}; there are: {listing}")
            return found[0]
        found = [t for t in self.traces if t.quantity == quantity]
        if len(found) == 1:
            return found[0]
        unknown = [t for t in self.traces if t.quantity == "unknown"]
        if not found and unknown:
            raise UnitError(
                f"{where}: no channel of {quantity} is known, as there are some of no known unit — "
                f"{_without_unit(unknown[0], where)} There are: {listing}"
            )
        problem = f"no channel of {quantity}" if not found else f"{len(found)} channels of {quantity}"
        raise ChannelError(f"{where}: {problem}; name one with --channel. There are: {listing}")


def _without_unit(trace: Trace, where: str) -> str:
    """What is to be done about a channel without a unit, which depends on the kind of file."""
    try:
        trace.blocks()
    except UnitError as question:
        return str(question).removeprefix(f"{where}: ")
    return f"channel {trace.name!r} has no known unit. State it with units, as in '{trace.name}=N'."
