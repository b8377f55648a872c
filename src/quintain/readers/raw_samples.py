"""Samples that lie in a file as plain binary numbers at even distances, read piece by piece."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from quintain.domain.trace import Block
from quintain.errors import RecordingError
from quintain.readers.fingerprint import Fingerprint

__all__ = ["RawSamples", "decode_numbers"]

_PIECE = 1 << 22
"""Bytes read at a time."""
_MOST = 1 << 18
"""Samples in a block."""


def decode_numbers(buffer: bytes | memoryview, dtype: str, n: int, step: int) -> NDArray[np.float64]:
    """
    Numbers at even distances in a buffer.

    Parameters
    ----------
    buffer : bytes-like
        Starts with the first number.
    dtype : str
        numpy's name of the type with byte order; integers may also have 3, 5, 6 or 7 bytes ('<i3').
    n : int
        How many numbers.
    step : int
        Bytes from one number to the next.

    Returns
    -------
    ndarray, shape (n,)
        The numbers; infinite ones are NaN.

    Examples
    --------
    >>> decode_numbers(bytes([0, 0, 1, 255, 255, 255]), "<i3", 2, 3).tolist()
    [65536.0, -1.0]
    """
    if dtype[1:] in ("i3", "i5", "i6", "i7"):
        width = int(dtype[2:])
        parts = np.ndarray((n, width), np.uint8, buffer, strides=(step, 1))
        padded = np.zeros((n, 8), np.uint8)
        padded[:, 8 - width :] = parts if dtype[0] == "<" else parts[:, ::-1]
        # The sign stands in the uppermost byte; shifting back brings it down.
        return (padded.view("<i8")[:, 0] >> (64 - 8 * width)).astype(np.float64)
    with np.errstate(invalid="ignore", over="ignore"):
        numbers = np.ndarray((n,), dtype, buffer, strides=(step,)).astype(np.float64)
    if np.dtype(dtype).kind == "f":
        numbers[np.isinf(numbers)] = np.nan
    return numbers


@dataclass(frozen=True, slots=True)
class RawSamples:
    """
    Evenly spaced numbers in a file, ``value = zero + factor * number``.

    Parameters
    ----------
    fingerprint : Fingerprint
        The file.
    offset : int
        Byte at which the first number lies.
    dtype : str
        Type of the numbers, see :func:`decode_numbers`.
    n : int
        How many there are.
    step : int
        Bytes from one number to the next.
    rate : float
        Sampling rate. [Hz]
    factor, zero : float
        Scale to the SI unit.
    start : float
        Time of the first sample. [s]
    """

    fingerprint: Fingerprint
    offset: int
    dtype: str
    n: int
    step: int
    rate: float
    factor: float = 1.0
    zero: float = 0.0
    start: float = 0.0

    def blocks(self) -> Iterator[Block]:
        """
        Yield the samples.

        Raises
        ------
        RecordingError
            If the file changes or ends while it is read.
        """
        self.fingerprint.check_unchanged()
        width = int(self.dtype[2:])
        most = max(1, min(_MOST, _PIECE // self.step))
        with open_again(self.fingerprint) as file:
            for first in range(0, self.n, most):
                n = min(most, self.n - first)
                file.seek(self.offset + first * self.step)
                buffer = file.read((n - 1) * self.step + width)
                if len(buffer) < (n - 1) * self.step + width:
                    raise RecordingError(
                        f"{self.fingerprint.path}: the file ends before sample {first + n}. Copy it again."
                    )
                samples = decode_numbers(buffer, self.dtype, n, self.step)
                if self.factor != 1.0:
                    samples *= self.factor
                if self.zero:
                    samples += self.zero
                yield Block(first, self.start + first / self.rate, samples)
        self.fingerprint.check_unchanged()


def open_again(fingerprint: Fingerprint) -> BinaryIO:
    """
    Open a file that was looked at before.

    Raises
    ------
    RecordingError
        If it is gone or may not be read any more.
    """
    try:
        return fingerprint.path.open("rb")
    except OSError as error:
        fingerprint.check_unchanged()
        raise RecordingError(f"{fingerprint.path}: the file cannot be read ({error.strerror}).") from None
