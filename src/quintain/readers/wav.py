"""Reader of WAV files: RIFF, RIFX and RF64, integers of 8 to 64 bits and floating point."""

from __future__ import annotations

import os
import struct
from collections.abc import Mapping
from typing import NamedTuple

from quintain.domain.recording import FoundCalibration, Recording
from quintain.errors import RecordingError
from quintain.readers.fingerprint import Fingerprint, take_fingerprint
from quintain.readers.full_scale import parse_full_scale
from quintain.readers.raw_samples import RawSamples, open_again
from quintain.readers.reader import Reader
from quintain.readers.traces import make_trace, unit_notes
from quintain.readers.units import UNKNOWN

__all__ = ["READER", "read_wav", "recognises"]

_PCM, _FLOAT, _EXTENSIBLE = 0x0001, 0x0003, 0xFFFE
_LONGEST_TEXT = 1 << 16
"""Bytes of a chunk of words that are kept in the header."""
_CODES = {0x0002: "ADPCM", 0x0006: "A-law", 0x0007: "mu-law", 0x0055: "MP3"}


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of a WAV file."""
    return head[:4] in (b"RIFF", b"RIFX", b"RF64") and head[8:12] == b"WAVE"


class _Format(NamedTuple):
    code: int
    channels: int
    rate: int
    block: int
    bits: int


def read_wav(path: str | os.PathLike[str], *, full_scale: str | Mapping[str, str] | None = None) -> Recording:
    """
    Read a WAV file.

    Parameters
    ----------
    path : str or path-like
        The file.
    full_scale : str or mapping, optional
        What a full-scale sample stands for, as a WAV file states no unit: ``'5000 N'`` for all channels
        or ``'channel 1=5000 N,channel 2=50 g'``. Full scale is 1.0 in floating point and
        ``2**(bits - 1)`` in integers.

    Returns
    -------
    Recording
        One trace a channel, called 'channel 1' and so on.

    Raises
    ------
    RecordingError
        If the file is damaged, cut short in its header, or compressed.
    UnitError
        If a unit in ``full_scale`` is not known.

    References
    ----------
    .. [1] IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0, 1991.
    .. [2] ITU-R BS.2088-1 (2019), Long-form file format for the international exchange of audio
           programme materials with metadata (RF64 and its 'ds64' chunk).
    """
    found = take_fingerprint(path)
    where = str(found.path)
    layout, order, offset, n_bytes, header, notes = _find_chunks(found)
    dtype, factor, zero = _number_type(layout, order, where)
    width = int(dtype[2:])
    if layout.channels == 0 or layout.block != layout.channels * width:
        raise RecordingError(
            f"{where}: the header is at odds with itself — {layout.channels} channels of {layout.bits} "
            "bits do not "
            f"make {layout.block} bytes a sample. Export the recording again."
        )
    if layout.rate == 0:
        raise RecordingError(
            f"{where}: the header states a sampling rate of 0 Hz. Export the recording again."
        )
    n = n_bytes // layout.block
    if n == 0:
        raise RecordingError(f"{where}: the file holds a header but no samples. Export the recording again.")
    names = [f"channel {i + 1}" for i in range(layout.channels)]
    scales = parse_full_scale(full_scale, names, where)
    traces = []
    for i, name in enumerate(names):
        scale, unit = scales.get(name, (1.0, UNKNOWN))
        source = RawSamples(
            found,
            offset + i * width,
            dtype,
            n,
            layout.block,
            float(layout.rate),
            factor * scale * unit.factor,
            zero * scale * unit.factor + unit.offset,
        )
        remedy = "state what full scale stands for with full_scale='5000 N'"
        traces.append(make_trace(name, unit, float(layout.rate), source, where=where, remedy=remedy))
    notes += unit_notes(tuple(traces))
    return Recording(
        where, found.digest, found.n_bytes, tuple(traces), header, None, READER.name, tuple(notes),
        tuple(
            FoundCalibration(name, f"full scale is {scale:.9g} {unit.text} (stated)", True)
            for name, (scale, unit) in scales.items()
        ),
    )  # fmt: skip


def _find_chunks(found: Fingerprint) -> tuple[_Format, str, int, int, str, list[str]]:
    """Format, byte order, place and size of the samples, a description of the header, and notes."""
    where = str(found.path)
    layout, sizes, said, notes = None, {}, [], []
    with open_again(found) as file:
        head = file.read(12)
        order = ">" if head[:4] == b"RIFX" else "<"
        if not recognises(head):
            raise RecordingError(f"{where}: this is no WAV file (it begins with {head[:12]!r}).")
        while True:
            chunk = file.read(8)
            if len(chunk) < 8:
                raise RecordingError(
                    f"{where}: the file ends before its samples begin. Copy or export it again."
                )
            name, size = chunk[:4], struct.unpack(order + "I", chunk[4:])[0]
            begin = file.tell()
            said.append(f"{name.decode('latin-1')!r} {size} bytes")
            if name == b"ds64" and size >= 24:
                content = file.read(24)
                if len(content) == 24:
                    sizes[b"data"] = struct.unpack("<Q", content[8:16])[0]
            elif name == b"fmt ":
                layout = _read_format(file.read(min(size, 64)), order, where)
            elif name == b"data":
                break
            elif size <= _LONGEST_TEXT:
                said[-1] += f": {file.read(size).decode('latin-1')!r}"
            file.seek(begin + size + size % 2)
    if layout is None:
        raise RecordingError(f"{where}: the samples come before their format is told. Export the file again.")
    if size == 0xFFFFFFFF:
        size = sizes.get(b"data", size)
    there = found.n_bytes - begin
    if size > there:
        # Recorders that lose power, or write to a pipe, leave a size that is not true.
        notes.append(f"the header announces {size} bytes of samples, the file holds {there}")
        size = there
    said.append(", ".join(f"{key} {value}" for key, value in layout._asdict().items()))
    return layout, order, begin, size, "\n".join(said), notes


def _read_format(content: bytes, order: str, where: str) -> _Format:
    if len(content) < 16:
        raise RecordingError(f"{where}: the format chunk is cut short. Copy or export the file again.")
    code, channels, rate, _, block, bits = struct.unpack(order + "HHIIHH", content[:16])
    if code == _EXTENSIBLE and len(content) >= 28:
        code = struct.unpack(order + "I", content[24:28])[0] & 0xFFFF
    return _Format(code, channels, rate, block, bits)


def _number_type(layout: _Format, order: str, where: str) -> tuple[str, float, float]:
    """Type of the samples, and factor and zero that scale them to -1 ... 1."""
    if layout.code not in (_PCM, _FLOAT):
        kind = _CODES.get(layout.code, f"format 0x{layout.code:04x}")
        raise RecordingError(
            f"{where}: the samples are compressed ({kind}), which alters a force. Export as PCM or "
            "floating point."
        )
    if layout.code == _FLOAT:
        if layout.bits not in (32, 64):
            raise RecordingError(f"{where}: floating point of {layout.bits} bits is not known. Use 32 or 64.")
        return f"{order}f{layout.bits // 8}", 1.0, 0.0
    # Containers are whole bytes; the valid bits are the upper ones.
    width = layout.block // layout.channels if layout.channels else 0
    if not 1 <= layout.bits <= 64 or width * 8 < layout.bits or not 1 <= width <= 8:
        raise RecordingError(
            f"{where}: integers of {layout.bits} bits in {width} bytes are not supported. Export with 16, "
            "24 or 32 bits."
        )
    if width == 1:
        return "|u1", 2.0**-7, -1.0
    return f"{order}i{width}", 2.0 ** -(8 * width - 1), 0.0


READER = Reader(
    "wav",
    (".wav", ".wave", ".rf64"),
    recognises,
    read_wav,
    "WAV, RIFX and RF64 sound files",
    calibrations="none in the file; full scale as stated",
)
