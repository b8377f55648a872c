"""Traces as readers make them: those without a unit are listed, but their samples are not given out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from quintain.domain.trace import Block, SampleSource, Trace
from quintain.errors import UnitError
from quintain.readers.units import Unit

__all__ = ["ASK_UNIT", "SamplesWithoutUnit", "make_trace", "unit_notes"]

ASK_UNIT = "state it with units='{name}=N' (or kN, lbf, V, g, m/s^2, ...)"


@dataclass(frozen=True, slots=True)
class SamplesWithoutUnit:
    """Stands for samples in a unit that is not known: asking for them says what to do."""

    message: str

    def blocks(self) -> Iterator[Block]:
        """
        Ask for the unit.

        Raises
        ------
        UnitError
            Always.
        """
        raise UnitError(self.message)


def _problem(name: str, unit: Unit, remedy: str) -> str:
    said = f"unit {unit.text!r} is not known" if unit.text else "no unit is stated"
    return f"channel {name!r}: {said}; {remedy.format(name=name)}"


def make_trace(
    name: str,
    unit: Unit,
    rate: float,
    source: SampleSource,
    *,
    where: str,
    device: str = "",
    remedy: str = ASK_UNIT,
) -> Trace:
    """
    Make the trace of a channel.

    Parameters
    ----------
    name : str
        Name of the channel.
    unit : Unit
        Its unit; samples of an unknown one are replaced by a question.
    rate : float
        Sampling rate. [Hz]
    source : SampleSource
        Its samples, in SI units.
    where : str
        File, for messages.
    device : str
        Device that recorded it, where the file tells.
    remedy : str
        How a unit is stated for this kind of file.

    Returns
    -------
    Trace
        The channel.
    """
    if unit.si == "?":
        source = SamplesWithoutUnit(f"{where}: {_problem(name, unit, remedy)}.")
    return Trace(name, unit.quantity, unit.si, rate, source, device, unit.text)


def unit_notes(traces: tuple[Trace, ...]) -> list[str]:
    """Words about the traces that have no unit."""
    return [
        f"channel {trace.name!r} has no known unit"
        + (f" ({trace.unit_in_file!r})" if trace.unit_in_file else "")
        for trace in traces
        if trace.unit == "?"
    ]
