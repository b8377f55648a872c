"""Reader of C3D files: marker tracks, analog channels and force plates; read in place."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quintain.domain.recording import FoundCalibration, Recording
from quintain.errors import RecordingError
from quintain.readers.arrays import NamedArray, recording_of_arrays
from quintain.readers.c3d_parameters import Header, Parameters, floats, read_header
from quintain.readers.calibration import asks_for_calibration
from quintain.readers.fingerprint import Fingerprint, take_fingerprint
from quintain.readers.raw_samples import open_again
from quintain.readers.reader import Reader

__all__ = ["READER", "read_c3d", "recognises"]

_BLOCK = 512
_MOST_BYTES = 1 << 18
_UNITS = {"nt": "N", "ntmm": "Nmm", "nt-mm": "Nmm"}
"""Spellings of gait laboratories that are understood nowhere else."""
_PLATE_CHANNELS = {1: 6, 2: 6, 3: 8, 4: 6}


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of a C3D file."""
    return len(head) >= 4 and head[1] == 0x50 and 2 <= head[0] <= 16 and not head.startswith((b"RP", b"PP"))


@dataclass(frozen=True, slots=True)
class _Frames:
    """Where the frames lie and how to decode them."""

    found: Fingerprint
    header: Header
    offset: int
    n: int
    analog_scale: tuple[float, ...]
    analog_zero: tuple[float, ...]
    unsigned: bool

    @property
    def width(self) -> int:
        """Bytes of a number."""
        return 4 if self.header.scale < 0 else 2

    @property
    def step(self) -> int:
        """Bytes of a frame."""
        return (4 * self.header.n_points + self.header.n_analog) * self.width

    def numbers(self, i: int, j: int, *, unsigned: bool = False) -> Iterator[NDArray[Any]]:
        """Frames ``i`` to ``j`` in the type they are stored in, some at a time; one row a frame."""
        most = max(1, _MOST_BYTES // self.step)
        with open_again(self.found) as file:
            for first in range(i, j, most):
                n = min(most, j - first)
                file.seek(self.offset + first * self.step)
                data = file.read(n * self.step)
                if len(data) < n * self.step:
                    raise RecordingError(
                        f"{self.found.path}: the file ends before frame {first + n}. Copy it again."
                    )
                flat: NDArray[Any]
                if self.width == 4 and self.header.dec:
                    flat = floats(data, self.header.order, dec=True)
                else:
                    kind = "f4" if self.width == 4 else "u2" if unsigned else "i2"
                    flat = np.frombuffer(data, self.header.order + kind)
                yield flat.reshape(n, -1)

    def point(self, k: int, axis: int, i: int, j: int) -> NDArray[np.float64]:
        """Coordinate of a marker, NaN where it was not seen."""
        scale = 1.0 if self.header.scale < 0 else self.header.scale
        parts = []
        for frames in self.numbers(i, j):
            with np.errstate(invalid="ignore"):
                seen = frames[:, 4 * k + 3] >= 0
                place = frames[:, 4 * k + axis].astype(np.float64)
            parts.append(np.where(seen, place * scale, np.nan))
        return np.concatenate(parts)

    def analog(self, weights: tuple[tuple[int, float], ...], i: int, j: int) -> NDArray[np.float64]:
        """Weighted sum of analog channels, samples ``i`` to ``j``."""
        per = self.header.analog_per_frame
        channels = self.header.n_analog // per
        first, last = i // per, -(-j // per)
        parts = []
        for frames in self.numbers(first, last, unsigned=self.unsigned):
            block = frames[:, 4 * self.header.n_points :].reshape(-1, channels)
            total = None
            for k, weight in weights:
                with np.errstate(invalid="ignore", over="ignore"):
                    part = block[:, k].astype(np.float64)
                    if self.analog_zero[k]:
                        part -= self.analog_zero[k]
                    if weight * self.analog_scale[k] != 1.0:
                        part *= weight * self.analog_scale[k]
                    total = part if total is None else total + part
            if total is not None:
                parts.append(total)
        whole = parts[0] if len(parts) == 1 else np.concatenate(parts)
        return whole[i - first * per : j - first * per]


def read_c3d(
    path: str | os.PathLike[str],
    *,
    units: str | Mapping[str, str] | None = None,
    calibration: str | None = None,
) -> Recording:
    """
    Read a C3D file.

    Parameters
    ----------
    path : str or path-like
        The file, written on Intel, DEC or MIPS processors, integer or floating point.
    units : str or mapping, optional
        Unit of channels that state none (``'V'``), or units by channel (``'marker.x=mm'``).
    calibration : str, optional
        ``'file'`` to put together the forces of plates of type 4 from bridge signals through the
        calibration matrix that the file holds.

    Returns
    -------
    Recording
        Coordinates of markers ('C7.x', NaN where not seen), analog channels as the file scales them, and
        for force plates of types 1 to 3 (and 4, if asked) the forces in the plate's own axes
        ('plate 1 Fz'); a zero that the file proposes is noted, not taken off.

    Raises
    ------
    RecordingError
        If the file is damaged.
    ChannelError, UnitError
        If a unit is given for a channel that is not there, or is not known.

    References
    ----------
    .. [1] Motion Lab Systems, 'The C3D File Format: User Guide', 2021.
    """
    found = take_fingerprint(path)
    where = str(found.path)
    notes: list[str] = []
    calibrations: list[FoundCalibration] = []
    asked = asks_for_calibration(calibration)
    try:
        with found.path.open("rb") as file:
            header, parameters = read_header(file.read(_BLOCK * 400))
        frames = _frames(found, header, parameters, notes)
        arrays = [
            *_points(frames, parameters),
            *_analog(frames, parameters, calibrations),
            *_plates(frames, parameters, notes, calibrations, asked=asked),
        ]
    except (ValueError, IndexError) as error:
        raise RecordingError(
            f"{where}: this C3D file is damaged ({error}). Copy or export it again."
        ) from None
    return recording_of_arrays(
        found, arrays, reader=READER.name, units=units, rate=None, header=_text(header, parameters),
        notes=notes, calibrations=calibrations,
    )  # fmt: skip


def _text(header: Header, parameters: Parameters) -> str:
    """First block and all parameters as text."""
    lines = [f"{name}: {value}" for name, value in header._asdict().items()]
    for name, value in parameters.items():
        lines.append(f"{name}: {value.tolist() if isinstance(value, np.ndarray) else value}")
    return "\n".join(lines)


def _frames(found: Fingerprint, header: Header, parameters: Parameters, notes: list[str]) -> _Frames:
    if not (np.isfinite(header.rate) and header.rate > 0 and np.isfinite(header.scale) and header.scale != 0):
        raise ValueError(f"a rate of {header.rate:g} Hz and a scale of {header.scale:g}")
    per = header.analog_per_frame
    if header.n_analog and (per == 0 or header.n_analog % per):
        raise ValueError(f"{header.n_analog} analog numbers a frame in {per} samples")
    channels = header.n_analog // per if header.n_analog else 0
    scales, zeros = parameters.numbers("ANALOG:SCALE"), parameters.numbers("ANALOG:OFFSET")
    unsigned = parameters.texts("ANALOG:FORMAT")[:1] == ["UNSIGNED"]
    if unsigned:
        zeros = np.where(zeros < 0, zeros + 65_536, zeros)
    general = parameters.number("ANALOG:GEN_SCALE", 1.0)
    scale = [general * (scales[k] if k < scales.size else 1.0) for k in range(channels)]
    zero = [zeros[k] if k < zeros.size else 0.0 for k in range(channels)]
    n = header.last_frame - header.first_frame + 1
    # Frames beyond 65 535 are told by other parameters.
    begin, end = parameters.get("TRIAL:ACTUAL_START_FIELD"), parameters.get("TRIAL:ACTUAL_END_FIELD")
    if isinstance(begin, np.ndarray) and isinstance(end, np.ndarray) and begin.size == end.size == 2:
        low = [int(v[0]) % 65_536 + 65_536 * (int(v[1]) % 65_536) for v in (begin, end)]
        n = low[1] - low[0] + 1 if low[1] >= low[0] else n
    offset = (header.data_block - 1) * _BLOCK
    frames = _Frames(found, header, offset, n, tuple(scale), tuple(zero), unsigned)
    if frames.step == 0:
        raise RecordingError(
            f"{found.path}: the file holds neither markers nor analog channels. Export them as well."
        )
    if offset < _BLOCK:
        raise ValueError("its frames begin in the header")
    there = max(0, found.n_bytes - offset) // frames.step
    if n <= 0 or there == 0:
        raise ValueError(f"{n} frames announced, {there} there")
    if n > there:
        notes.append(f"the header announces {n} frames, the file holds {there}")
        frames = _Frames(found, header, offset, there, tuple(scale), tuple(zero), unsigned)
    return frames


def _labels(parameters: Parameters, name: str, n: int, word: str) -> list[str]:
    texts = parameters.texts(name)
    labels = [texts[k] if k < len(texts) and texts[k] else f"{word} {k + 1}" for k in range(n)]
    often = Counter(labels)
    return [f"{label} ({k + 1})" if often[label] > 1 else label for k, label in enumerate(labels)]


def _units(parameters: Parameters) -> list[str]:
    return [_UNITS.get(unit.lower(), unit) for unit in parameters.texts("ANALOG:UNITS")]


def _points(frames: _Frames, parameters: Parameters) -> Iterator[NamedArray]:
    unit = (parameters.texts("POINT:UNITS") or [""])[0]
    for k, label in enumerate(_labels(parameters, "POINT:LABELS", frames.header.n_points, "marker")):
        for axis, letter in enumerate("xyz"):
            fetch = partial(frames.point, k, axis)
            yield NamedArray(
                f"{label}.{letter}", frames.n, fetch, unit, "points", 1 / frames.header.rate, device="markers"
            )


def _analog(
    frames: _Frames, parameters: Parameters, calibrations: list[FoundCalibration]
) -> Iterator[NamedArray]:
    per = frames.header.analog_per_frame
    units = _units(parameters)
    interval = 1 / (frames.header.rate * per) if per else None
    for k, label in enumerate(_labels(parameters, "ANALOG:LABELS", len(frames.analog_scale), "analog")):
        unit = units[k] if k < len(units) else ""
        fetch = partial(frames.analog, ((k, 1.0),))
        zero, scale = frames.analog_zero[k], frames.analog_scale[k]
        if (zero, scale) != (0.0, 1.0):
            text = f"(raw - {zero:.9g}) x {scale:.9g} [{unit or 'no unit stated'}]"
            calibrations.append(FoundCalibration(label, text, True))
        yield NamedArray(label, frames.n * per, fetch, unit, "analog", interval, device="analog")


def _plates(
    frames: _Frames,
    parameters: Parameters,
    notes: list[str],
    calibrations: list[FoundCalibration],
    *,
    asked: bool,
) -> Iterator[NamedArray]:
    """Forces of the plates in their own axes, from the channels that the file assigns to them."""
    used = int(parameters.number("FORCE_PLATFORM:USED", 0))
    types, channels = parameters.numbers("FORCE_PLATFORM:TYPE"), parameters.numbers("FORCE_PLATFORM:CHANNEL")
    if used <= 0 or not channels.size or not frames.analog_scale:
        return
    rows = channels.reshape(used, -1) if channels.size % used == 0 else np.empty((0, 0))
    per = frames.header.analog_per_frame
    units = _units(parameters)
    matrices = parameters.numbers("FORCE_PLATFORM:CAL_MATRIX")
    for p in range(min(used, len(rows), types.size)):
        kind = int(types[p])
        n = _PLATE_CHANNELS.get(kind)
        picked = [int(c) - 1 for c in rows[p][: n or 0]]
        if n is None or len(picked) < n or not all(0 <= c < len(frames.analog_scale) for c in picked):
            notes.append(
                f"plate {p + 1} is of type {kind} or lacks channels; its forces are not put together"
            )
            continue
        weights = _force_weights(kind, picked, matrices[36 * p : 36 * p + 36])
        if weights is None:
            notes.append(f"plate {p + 1} has no calibration matrix; its forces are not put together")
            continue
        if kind == 4:
            rows_text = matrices[36 * p : 36 * p + 36].reshape(6, 6, order="F").tolist()
            text = f"matrix from six signals to forces and moments, by rows: {rows_text}"
            calibrations.append(FoundCalibration(f"plate {p + 1}", text, asked))
            if not asked:
                notes.append(
                    f"the file holds a calibration matrix for plate {p + 1}; its forces are put together "
                    "with calibration='file'"
                )
                continue
        first = units[picked[0]] if picked[0] < len(units) else ""
        unit = "N" if kind == 4 and first.upper() in ("V", "MV", "UV") else first
        for axis, weight in zip("xyz", weights, strict=True):
            fetch = partial(frames.analog, weight)
            interval = 1 / (frames.header.rate * per)
            device = f"plate {p + 1}"
            yield NamedArray(
                f"{device} F{axis}", frames.n * per, fetch, unit, "analog", interval, device=device
            )
    zero = parameters.numbers("FORCE_PLATFORM:ZERO")
    if zero.size == 2 and zero[1] > zero[0] > 0:
        notes.append(
            f"the file proposes frames {zero[0]:.0f} to {zero[1]:.0f} for the plates' zero; it is not "
            "taken off"
        )


def _force_weights(
    kind: int, picked: list[int], matrix: NDArray[np.float64]
) -> list[tuple[tuple[int, float], ...]] | None:
    """Channels and weights that add up to Fx, Fy and Fz of a plate."""
    if kind in (1, 2):
        return [((picked[k], 1.0),) for k in range(3)]
    if kind == 3:
        # Two sums along x, two along y, and the four feet.
        sums = ((0, 1), (2, 3), (4, 5, 6, 7))
        return [tuple((picked[k], 1.0) for k in group) for group in sums]
    if matrix.size < 36:
        return None
    # Stored by columns: six outputs for each input.
    by_output = matrix.reshape(6, 6, order="F")
    return [tuple((picked[k], float(by_output[axis, k])) for k in range(6)) for axis in range(3)]


READER = Reader(
    "c3d",
    (".c3d",),
    recognises,
    read_c3d,
    "C3D motion capture: markers, analog, force plates",
    calibrations="analog scales always; matrices of force plates of type 4 when asked",
)
