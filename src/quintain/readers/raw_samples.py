"""Samples that lie in a file as plain binary numbers at even distances, read piece by piece."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from quintain.domain.trace import Block
from quintain.errors import RecordingError
from quintain.readers.fingerprint import Fingerprint

__all__ = ["RawSamples", "decode_numbers", "finite_or_missing", "open_again", "read_numbers"]

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
        The numbers.

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
        return np.ndarray((n,), dtype, buffer, strides=(step,)).astype(np.float64)


def read_numbers(file: BinaryIO, dtype: str, n: int, step: int, *, where: object) -> NDArray[np.float64]:
    """
    Read numbers at even distances from where a file stands; those that lie together are not copied.

    Parameters
    ----------
    file : binary file
        Stands at the first number.
    dtype, n, step
        As for :func:`decode_numbers`.
    where : str or path-like
        File, for messages.

    Returns
    -------
    ndarray, shape (n,)
        The numbers.

    Raises
    ------
    RecordingError
        If the file ends before the last of them.
    """
    if step == int(dtype[2:]) and dtype[1:] not in ("i3", "i5", "i6", "i7"):
        numbers = np.empty(n, dtype)
        if file.readinto(numbers.view(np.uint8).data) == numbers.nbytes:  # type: ignore[attr-defined]
            with np.errstate(invalid="ignore", over="ignore"):
                return numbers.astype(np.float64, copy=False)
    else:
        size = (n - 1) * step + int(dtype[2:])
        buffer = file.read(size)
        if len(buffer) == size:
            return decode_numbers(buffer, dtype, n, step)
    raise RecordingError(f"{where}: the file ends before the last of its numbers. Copy it again.")


def finite_or_missing(numbers: NDArray[np.float64]) -> NDArray[np.float64]:
    """
    The numbers with NaN instead of infinite ones; the same array if there are none.

    Examples
    --------
    >>> finite_or_missing(np.array([1.0, np.inf]))
    array([ 1., nan])
    """
    with np.errstate(over="ignore", invalid="ignore"):
        # One pass without an array of answers; a sum that is not finite is looked at again.
        if math.isfinite(float(numbers.sum())):
            return numbers
    return np.where(np.isfinite(numbers), numbers, np.nan)


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
        most = max(1, min(_MOST, _PIECE // self.step))
        with open_again(self.fingerprint) as file:
            for first in range(0, self.n, most):
                n = min(most, self.n - first)
                file.seek(self.offset + first * self.step)
                samples = read_numbers(file, self.dtype, n, self.step, where=self.fingerprint.path)
                if self.dtype[1] == "f":
                    samples = finite_or_missing(samples)
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
