"""One channel of a recording: samples at a steady rate, in SI units, read block by block."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = ["ArraySamples", "Block", "SampleSource", "Trace"]

_BLOCK = 1 << 18
"""Samples in a block of an array in memory: large enough to amortise a call, 2 MB."""


class Block(NamedTuple):
    """
    A stretch of samples without a break in time.

    ``first`` is the index of its first sample in the trace, ``start`` that sample's time [s] on the
    recording's clock. ``join`` says how the block follows the one before it: '' without a break,
    'gap', 'time-backward' or 'time-repeated' after one. Missing samples are NaN.
    """

    first: int
    start: float
    samples: NDArray[np.float64]
    join: str = ""


class SampleSource(Protocol):
    """Where the samples of a trace come from; each call of ``blocks`` starts from the beginning."""

    def blocks(self) -> Iterator[Block]:
        """Yield the samples in order, in blocks of bounded size."""
        ...


@dataclass(frozen=True, slots=True)
class ArraySamples:
    """Samples held in memory; never altered."""

    samples: NDArray[np.float64]
    rate: float
    start: float = 0.0

    def __post_init__(self) -> None:
        samples = np.array(self.samples, dtype=np.float64)
        samples.flags.writeable = False
        object.__setattr__(self, "samples", samples)

    def blocks(self) -> Iterator[Block]:
        """Yield views of the array."""
        for first in range(0, self.samples.size, _BLOCK):
            yield Block(first, self.start + first / self.rate, self.samples[first : first + _BLOCK])


@dataclass(frozen=True, slots=True)
class Trace:
    """
    One channel of a recording.

    Parameters
    ----------
    name : str
        Name of the channel as the file gives it.
    quantity : str
        What it measures: 'force', 'acceleration', 'angular_rate', 'position', 'voltage', ...
    unit : str
        SI unit of the samples.
    rate : float
        Sampling rate. [Hz]
    source : SampleSource
        Where the samples come from.
    device : str
        Which device said it, where the file tells.
    unit_in_file : str
        Unit as the file wrote it, before conversion.
    """

    name: str
    quantity: str
    unit: str
    rate: float
    source: SampleSource
    device: str = ""
    unit_in_file: str = ""

    @classmethod
    def from_array(
        cls,
        samples: NDArray[np.float64],
        rate: float,
        *,
        name: str = "force",
        quantity: str = "force",
        unit: str = "N",
        start: float = 0.0,
    ) -> Trace:
        """Wrap samples that are already in memory, in SI units."""
        if not rate > 0:
            raise ValueError(f"rate must be above 0 Hz, got {rate}")
        return cls(name, quantity, unit, float(rate), ArraySamples(samples, float(rate), start), "", unit)

    def blocks(self) -> Iterator[Block]:
        """Yield the samples in order, in blocks of bounded size."""
        return self.source.blocks()

    def read(self) -> NDArray[np.float64]:
        """All samples as one array; breaks in time are not shown (see :meth:`blocks`)."""
        parts = [block.samples for block in self.blocks()]
        return np.concatenate(parts) if parts else np.empty(0)
