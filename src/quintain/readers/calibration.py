"""Calibrations that a file holds: shown always, used only where the user asks for them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quintain.errors import UsageError

__all__ = ["ASK_CALIBRATION", "ArrayCalibration", "CalibratedFetch", "asks_for_calibration"]

ASK_CALIBRATION = (
    "the file holds a calibration for it, {text}: use that with calibration='file', or state the unit of the "
    "raw numbers with units='{name}=V'"
)


@dataclass(frozen=True, slots=True)
class ArrayCalibration:
    """What a file says turns the raw numbers of a column into its unit: ``zero + factor * raw``."""

    factor: float
    zero: float

    @property
    def text(self) -> str:
        """
        The calibration in words.

        Examples
        --------
        >>> ArrayCalibration(0.5, -2.0).text
        '-2 + 0.5 x raw'
        """
        return f"{self.zero:.9g} + {self.factor:.9g} x raw"


def asks_for_calibration(calibration: str | None) -> bool:
    """
    Whether the setting ``calibration`` asks for what the file holds.

    Raises
    ------
    UsageError
        If it is anything but 'file'.
    """
    if calibration not in (None, "file"):
        raise UsageError(f"calibration: expected 'file' (use what the file holds), got {calibration!r}.")
    return calibration is not None


@dataclass(frozen=True, slots=True)
class CalibratedFetch:
    """Numbers of a column that have gone through a calibration."""

    fetch: Any
    calibration: ArrayCalibration

    def __call__(self, i: int, j: int) -> NDArray[np.float64]:
        """Numbers ``i`` to ``j``."""
        return self._through(self.fetch(i, j))

    @contextmanager
    def opened(self) -> Iterator[Callable[[int, int], NDArray[np.float64]]]:
        """Keep the file open for many pieces, where the format offers that."""
        with self.fetch.opened() if hasattr(self.fetch, "opened") else nullcontext(self.fetch) as fetch:
            yield lambda i, j: self._through(fetch(i, j))

    def _through(self, numbers: NDArray[np.float64]) -> NDArray[np.float64]:
        with np.errstate(over="ignore", invalid="ignore"):
            scaled: NDArray[np.float64] = numbers * self.calibration.factor
        scaled += self.calibration.zero
        return scaled
