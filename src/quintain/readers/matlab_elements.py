"""Variables of MATLAB files of versions 4 to 7, taken apart with every size checked."""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np

__all__ = ["Variable", "variables_of_version_4", "variables_of_version_5"]

Variable = tuple[str, "np.ndarray[Any, Any]"]
"""Name ('structure/field' for fields) and array of real numbers."""

_TYPES = {1: "i1", 2: "u1", 3: "i2", 4: "u2", 5: "i4", 6: "u4", 7: "f4", 9: "f8", 12: "i8", 13: "u8"}
_MATRIX, _COMPRESSED = 14, 15
_STRUCT, _NUMBERS = 2, range(6, 16)
_COMPLEX, _LOGICAL = 0x0800, 0x0200
_VERSION_4_TYPES = ("f8", "f4", "i4", "i2", "u2", "u1")
_MOST_FIELDS = 4096
_DEEPEST = 10


class _Element(NamedTuple):
    kind: int
    content: memoryview
    end: int
    """Where the next element begins."""


def _element(data: memoryview, at: int, order: str) -> _Element:
    if len(data) < at + 8:
        raise ValueError("an element is cut off")
    kind, size = struct.unpack_from(order + "II", data, at)
    if kind >> 16:
        # Up to four bytes are packed into the tag itself.
        size, kind = kind >> 16, kind & 0xFFFF
        if size > 4:
            raise ValueError("a short element is too long")
        return _Element(kind, data[at + 4 : at + 4 + size], at + 8)
    begin, end = at + 8, at + 8 + size
    if end > len(data):
        raise ValueError(f"an element announces {size} bytes, but {len(data) - begin} are left")
    return _Element(kind, data[begin:end], end if kind == _COMPRESSED else end + -size % 8)


def variables_of_version_5(data: memoryview, most: int) -> Iterator[Variable]:
    """
    Variables of a file of version 5 to 7.

    Parameters
    ----------
    data : memoryview
        The whole file.
    most : int
        Bytes that all compressed variables together may unpack to.

    Yields
    ------
    Variable
        Arrays of real numbers, those in structures too; text, cells, sparse and complex arrays are left
        out.

    Raises
    ------
    ValueError
        If the file is damaged, with the reason in words.
    OverflowError
        If it unpacks to more than ``most`` bytes.

    Notes
    -----
    The MathWorks, 'MAT-File Format', version 7.3 documentation, chapter 1 (levels 4 and 5).
    """
    if len(data) < 128:
        raise ValueError("the header is cut off")
    order = "<" if bytes(data[126:128]) == b"IM" else ">"
    at = 128
    while at < len(data):
        element = _element(data, at, order)
        at = element.end
        if element.kind == _COMPRESSED:
            unpack = zlib.decompressobj()
            try:
                content = unpack.decompress(bytes(element.content), most + 1)
            except zlib.error as error:
                raise ValueError(f"a compressed variable is damaged: {error}") from None
            if len(content) > most:
                raise OverflowError
            if not unpack.eof:
                raise ValueError("a compressed variable is cut off")
            most -= len(content)
            element = _element(memoryview(content), 0, order)
        if element.kind == _MATRIX:
            yield from _matrix(element.content, order, None, 0)


def _matrix(data: memoryview, order: str, name: str | None, depth: int) -> Iterator[Variable]:
    if not data or depth > _DEEPEST:
        return
    flags = _element(data, 0, order)
    sizes = _element(data, flags.end, order)
    label = _element(data, sizes.end, order)
    if len(flags.content) < 4 or len(sizes.content) % 4 or len(sizes.content) > 128:
        raise ValueError("a matrix header is damaged")
    flag = struct.unpack_from(order + "I", flags.content)[0]
    shape = struct.unpack(f"{order}{len(sizes.content) // 4}i", sizes.content)
    own = bytes(label.content).decode("latin-1").rstrip("\0")
    name = own if name is None else name
    if any(n < 0 for n in shape):
        raise ValueError(f"variable {name!r} has a negative size")
    if flag & 0xFF == _STRUCT and math.prod(shape) == 1:
        yield from _structure(data, label.end, order, name, depth)
    elif flag & 0xFF in _NUMBERS and not flag & (_COMPLEX | _LOGICAL):
        numbers = _element(data, label.end, order)
        if numbers.kind not in _TYPES:
            raise ValueError(f"variable {name!r} has numbers of unknown type {numbers.kind}")
        dtype = np.dtype(order + _TYPES[numbers.kind])
        if math.prod(shape) * dtype.itemsize != len(numbers.content):
            raise ValueError(f"variable {name!r} announces {math.prod(shape)} numbers, but holds other bytes")
        yield name, np.frombuffer(numbers.content, dtype).reshape(shape, order="F")


def _structure(data: memoryview, at: int, order: str, name: str, depth: int) -> Iterator[Variable]:
    length = _element(data, at, order)
    names = _element(data, length.end, order)
    width = struct.unpack_from(order + "i", length.content)[0] if len(length.content) >= 4 else 0
    if not 0 < width <= 64 or len(names.content) // width > _MOST_FIELDS:
        raise ValueError(f"the fields of structure {name!r} are damaged")
    at = names.end
    for k in range(len(names.content) // width):
        field = bytes(names.content[k * width : (k + 1) * width]).split(b"\0")[0].decode("latin-1")
        element = _element(data, at, order)
        at = element.end
        if element.kind == _MATRIX:
            yield from _matrix(element.content, order, f"{name}/{field}", depth + 1)


def variables_of_version_4(data: memoryview) -> Iterator[Variable]:
    """
    Variables of a file of version 4.

    Parameters
    ----------
    data : memoryview
        The whole file.

    Yields
    ------
    Variable
        Full matrices of real numbers.

    Raises
    ------
    ValueError
        If the file is damaged, with the reason in words.
    """
    at = 0
    while at < len(data):
        if len(data) < at + 20:
            raise ValueError("a matrix header is cut off")
        order = "<" if struct.unpack_from("<i", data, at)[0] in range(5000) else ">"
        kind, rows, columns, imaginary, length = struct.unpack_from(order + "5i", data, at)
        digits = kind // 1000, kind // 100 % 10, kind // 10 % 10, kind % 10
        if (
            digits[0] not in (0, 1)
            or digits[1]
            or digits[2] > 5
            or min(rows, columns) < 0
            or not 0 < length < 1024
        ):
            raise ValueError("a matrix header is damaged")
        # The thousands tell the byte order too; zero may be read either way round.
        dtype = np.dtype(order + _VERSION_4_TYPES[digits[2]])
        begin = at + 20 + length
        n_bytes = rows * columns * dtype.itemsize
        at = begin + n_bytes * (2 if imaginary else 1)
        if at > len(data):
            raise ValueError("a matrix is cut off")
        name = bytes(data[begin - length : begin]).split(b"\0")[0].decode("latin-1")
        if digits[3] == 0 and not imaginary and n_bytes:
            yield (
                name,
                np.frombuffer(data[begin : begin + n_bytes], dtype).reshape((rows, columns), order="F"),
            )
