"""Header and parameters of C3D files, for all three kinds of processors that wrote them."""

from __future__ import annotations

import struct
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Header", "Parameters", "floats", "read_header"]

_BLOCK = 512
_PROCESSORS = {84: "<f", 85: "dec", 86: ">f"}
"""Intel, DEC and MIPS (SGI): byte order of integers and kind of floating point."""


class Header(NamedTuple):
    """What the first block of a C3D file says, and how its numbers are written."""

    n_points: int
    n_analog: int
    """Analog numbers in a frame."""
    first_frame: int
    last_frame: int
    scale: float
    """Factor of integer coordinates; negative where coordinates are floating point."""
    data_block: int
    analog_per_frame: int
    rate: float
    order: str
    dec: bool


class Parameters(dict[str, Any]):
    """Parameters by 'GROUP:NAME'; numbers as arrays, texts as lists of str."""

    def number(self, name: str, default: float) -> float:
        """First number of a parameter."""
        value = self.get(name)
        return float(value[0]) if isinstance(value, np.ndarray) and value.size else default

    def numbers(self, name: str) -> NDArray[np.float64]:
        """All numbers of a parameter, empty if it is not there."""
        value = self.get(name)
        return value.astype(np.float64) if isinstance(value, np.ndarray) else np.empty(0)

    def texts(self, name: str) -> list[str]:
        """
        All texts of a parameter.

        Long lists go on in parameters of the same name with a number ('LABELS2').
        """
        found: list[str] = []
        for tail in ("", *map(str, range(2, 100))):
            value = self.get(name + tail)
            if not isinstance(value, list):
                break
            found += value
        return found


def floats(data: bytes, order: str, *, dec: bool) -> NDArray[np.float64]:
    """
    Numbers of four bytes.

    DEC wrote the two halves the other way round and an exponent that is two larger.

    Examples
    --------
    >>> floats(bytes([0x80, 0x40, 0, 0]), "<", dec=True)
    array([1.])
    """
    with np.errstate(invalid="ignore"):
        if dec:
            words = np.frombuffer(data, "<u2").reshape(-1, 2)[:, ::-1]
            return np.ascontiguousarray(words).view("<f4")[:, 0].astype(np.float64) / 4
        return np.frombuffer(data, order + "f4").astype(np.float64)


def read_header(data: bytes) -> tuple[Header, Parameters]:
    """
    Read header and parameters.

    Parameters
    ----------
    data : bytes
        The beginning of the file, up to its samples.

    Returns
    -------
    Header
        What the first block says.
    Parameters
        All groups.

    Raises
    ------
    ValueError
        If they are damaged, with the reason in words.

    Notes
    -----
    'The C3D File Format: User Guide', Motion Lab Systems, 2021.
    """
    if len(data) < _BLOCK or data[1] != 0x50:
        raise ValueError("the first block is no C3D header")
    at = (data[0] - 1) * _BLOCK
    if at < _BLOCK or len(data) < at + 4:
        raise ValueError("the parameters lie outside the file")
    processor = _PROCESSORS.get(data[at + 3])
    if processor is None:
        raise ValueError(f"processor type {data[at + 3]} is not known; 84 to 86 are")
    order, dec = ("<", True) if processor == "dec" else (processor[0], False)
    points, analog, first, last, _ = struct.unpack_from(order + "5H", data, 2)
    block, per_frame = struct.unpack_from(order + "2H", data, 16)
    scale = float(floats(data[12:16], order, dec=dec)[0])
    rate = float(floats(data[20:24], order, dec=dec)[0])
    header = Header(points, analog, first, last, scale, block, per_frame, rate, order, dec)
    return header, _read_parameters(data[at + 4 : at + data[at + 2] * _BLOCK], order, dec)


def _read_parameters(data: bytes, order: str, dec: bool) -> Parameters:
    groups: dict[int, str] = {}
    entries: list[tuple[int, str, Any]] = []
    at = 0
    while at + 2 <= len(data):
        size, group = struct.unpack_from("bb", data, at)
        size = abs(size)
        if size == 0 or at + size + 4 > len(data):
            break
        name = data[at + 2 : at + 2 + size].decode("latin-1").upper()
        after = at + 2 + size
        jump = struct.unpack_from(order + "H", data, after)[0]
        if group < 0:
            groups[-group] = name
        else:
            entries.append((group, name, _read_value(data[after + 2 :], order, dec, name)))
        if jump == 0:
            break
        at = after + jump
    return Parameters({f"{groups.get(group, group)}:{name}": value for group, name, value in entries})


def _read_value(data: bytes, order: str, dec: bool, name: str) -> Any:
    if len(data) < 2:
        raise ValueError(f"parameter {name!r} is cut off")
    kind = struct.unpack_from("b", data)[0]
    shape = list(data[2 : 2 + data[1]])
    width = abs(kind)
    n = 1
    for size in shape:
        n *= size
    content = data[2 + len(shape) : 2 + len(shape) + n * width]
    if len(shape) != data[1] or len(content) != n * width or kind not in (-1, 1, 2, 4):
        raise ValueError(f"parameter {name!r} is damaged")
    if kind == -1:
        length = shape[0] if shape else 1
        texts = [content[k : k + length] for k in range(0, n, length)] if length else []
        return [text.decode("latin-1").strip("\0 ") for text in texts]
    if kind == 4:
        return floats(content, order, dec=dec)
    return np.frombuffer(content, np.uint8 if kind == 1 else order + "i2")
