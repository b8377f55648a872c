"""Reader of universal files (UFF, UNV): time histories of datasets 58 and 58b."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO, NamedTuple

import numpy as np

from quintain.domain.recording import FoundCalibration, Recording
from quintain.domain.trace import SampleSource, Trace
from quintain.errors import RecordingError
from quintain.readers.calibration import asks_for_calibration
from quintain.readers.columns_table import decode_head, find_encoding
from quintain.readers.columns_time import Interval, nearest_short
from quintain.readers.fingerprint import Fingerprint, take_fingerprint
from quintain.readers.raw_samples import RawSamples, open_again
from quintain.readers.reader import Reader
from quintain.readers.stamped import Piece, PieceSamples, rate_of_stamps
from quintain.readers.traces import make_trace, unit_notes
from quintain.readers.units import Unit, find_unit, parse_units, split_unit

__all__ = ["READER", "read_uff58", "recognises"]

_LINE = 4096
"""Longest line that is read; those of the format have 80 characters."""
_PIECE = 1 << 20
_FIRST = 20_000
_LONGEST_TEXT = 1 << 16
"""Bytes of other datasets that are kept in the header."""
_TIME = 17
_SI_BY_TYPE = {8: "m", 9: "N", 11: "m/s", 12: "m/s2", 13: "N", 15: "Pa"}
"""SI unit of a specific data type, for channels without a unit in files whose unit system is known."""
_FUNCTIONS = {2: "auto spectrum", 3: "cross spectrum", 4: "frequency response", 9: "power spectral density"}
_NUMBER = re.compile(r"[+-]?\d*\.?\d+(?:[EeDd][+-]?\d{2,3})?")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def recognises(head: bytes) -> bool:
    """Whether the first lines begin a dataset of a universal file."""
    lines = head[:400].split(b"\n")
    if len(lines) < 3 or lines[0].rstrip() != b"    -1":
        return False
    return re.fullmatch(rb"\s*\d{1,5}[a-z]?(\s.*)?", lines[1].rstrip()) is not None


@dataclass(frozen=True, slots=True)
class _Function:
    """Header of a dataset 58 and where its numbers lie."""

    lines: tuple[str, ...]
    offset: int
    end: int
    order: str
    """'' for text, else the byte order of the binary numbers."""

    def ints(self, line: int) -> list[int]:
        """Whole numbers at the beginning of a header line, counted from 1."""
        return [int(t) for t in re.findall(r"[+-]?\d+", self.lines[line - 1])]


def read_uff58(
    path: str | os.PathLike[str],
    *,
    units: str | Mapping[str, str] | None = None,
    calibration: str | None = None,
) -> Recording:
    """
    Read the time histories of a universal file.

    Parameters
    ----------
    path : str or path-like
        The file; text and binary datasets may be mixed.
    units : str or mapping, optional
        Unit of channels that state none (``'N'``), or units by channel (``'acc=g,force=kN'``).
    calibration : str, optional
        ``'file'`` to convert channels that state no unit by the factors to SI of dataset 164. Left out,
        only a file that says to be in SI tells their units.

    Returns
    -------
    Recording
        One trace for each dataset 58 that is a real function of time, each with its own rate. Spectra and
        other datasets are noted and left out.

    Raises
    ------
    RecordingError
        If the file is damaged or holds no time history.
    ChannelError, UnitError
        If a unit is given for a channel that is not there, or is not known.

    References
    ----------
    .. [1] University of Cincinnati, Structural Dynamics Research Laboratory, 'Universal File Formats',
           datasets 58 (function at nodal DOF), 58b (its binary form) and 164 (units).
    """
    found = take_fingerprint(path)
    where = str(found.path)
    given = parse_units(units)
    asked = asks_for_calibration(calibration)
    functions, others = _find_functions(found)
    notes = [f"dataset {number} is left out" for number in sorted({number for number, _ in others})]
    system = _find_system(others)
    usable = system if system is not None and (asked or system.code == 1) else None
    traces: list[Trace] = []
    names: list[str] = []
    started = None
    kept = []
    for function in functions:
        try:
            trace_or_note = _trace_facts(function, usable)
        except (ValueError, IndexError, OverflowError) as error:
            raise RecordingError(
                f"{where}: the header of a dataset 58 is damaged ({error}). Export it again."
            ) from None
        if isinstance(trace_or_note, str):
            notes.append(trace_or_note)
            continue
        kept.append((function, trace_or_note))
    for function, facts in kept:
        name = (
            facts.name
            if facts.name not in names
            else f"{facts.name} ({names.count(facts.name) + len(names)})"
        )
        names.append(name)
        started = started or _started(function.lines[2])
    given.check_names(names, where)
    for name, (function, facts) in zip(names, kept, strict=True):
        unit = given.choose(name, facts.unit, where)
        if name not in given.by_channel:
            unit = unit._replace(factor=unit.factor * facts.to_si)
        rate, source = _source(found, function, facts, unit, name, notes)
        traces.append(make_trace(name, unit, rate, source, where=where, device=facts.device))
    if not traces:
        what = "; ".join(notes) or "no dataset 58"
        raise RecordingError(
            f"{where}: the file holds no time history ({what}). Export the signals over time."
        )
    notes += unit_notes(tuple(traces))
    header = "\n\n".join(
        [f"dataset {number}\n{text}" for number, text in others]
        + ["\n".join(function.lines) for function in functions]
    )
    calibrations: tuple[FoundCalibration, ...] = ()
    if system is not None:
        calibrations = (FoundCalibration("channels without a unit", system.text, usable is not None),)
    return Recording(
        where,
        found.digest,
        found.n_bytes,
        tuple(traces),
        header,
        started,
        READER.name,
        tuple(dict.fromkeys(notes)),
        calibrations,
    )


class _System(NamedTuple):
    """Unit system of dataset 164: dividing by the factors gives SI."""

    code: int
    name: str
    length: float
    force: float

    @property
    def text(self) -> str:
        """The system in words."""
        return f"dataset 164: {self.name!r}, one metre is {self.length:.9g}, one newton {self.force:.9g}"

    def to_si(self, data_type: int) -> float:
        """Factor that turns numbers of a specific data type into SI."""
        if data_type == 15:
            return self.length**2 / self.force
        return 1 / (self.force if data_type in (9, 13) else self.length)


def _find_system(others: list[tuple[str, str]]) -> _System | None:
    """The unit system that the file states, None if there is none or it makes no sense."""
    text = next((text for number, text in others if number == "164"), "")
    lines = text.splitlines()
    try:
        length, force = (float(lines[1][a : a + 25].replace("D", "E")) for a in (0, 25))
        system = _System(int(lines[0][:10]), lines[0][10:30].strip(), length, force)
    except (IndexError, ValueError):
        return None
    fits = all(1e-9 < factor < 1e9 for factor in (length, force))
    return system if fits else None


def _find_functions(found: Fingerprint) -> tuple[list[_Function], list[tuple[str, str]]]:
    """Datasets 58 of the file, and numbers and texts of the others, long ones cut off."""
    where = str(found.path)
    functions: list[_Function] = []
    others: list[tuple[str, str]] = []
    with open_again(found) as file:
        encoding = find_encoding(file.read(400), None, where)
        file.seek(0)
        while line := file.readline(_LINE):
            if line.strip() != b"-1":
                if line.strip():
                    raise RecordingError(
                        f"{where}: byte {file.tell() - len(line)} should begin a dataset, but does not."
                    )
                continue
            title = file.readline(_LINE).split()
            if not title:
                break
            number = title[0].decode("latin-1")
            if number in ("58", "58b"):
                functions.append(_read_function(file, title, encoding, found))
            else:
                text = b""
                for body in iter(lambda: file.readline(_LINE), b""):
                    if body.strip() == b"-1":
                        break
                    text += body if len(text) < _LONGEST_TEXT else b""
                others.append((number, decode_head(text, encoding, where)))
    return functions, others


def _read_function(file: BinaryIO, title: list[bytes], encoding: str, found: Fingerprint) -> _Function:
    where = str(found.path)
    raw = [file.readline(_LINE) for _ in range(11)]
    if not raw[-1].endswith(b"\n"):
        raise RecordingError(
            f"{where}: the header of a dataset 58 is cut off. Copy or export the file again."
        )
    lines = tuple(decode_head(text, encoding, where).rstrip("\r\n") for text in raw)
    offset = file.tell()
    if title[0] == b"58b":
        try:
            byte_order, kind, n_bytes = int(title[1]), int(title[2]), int(title[4])
        except (IndexError, ValueError):
            raise RecordingError(
                f"{where}: the first line of a dataset 58b is damaged. Export it again."
            ) from None
        if byte_order not in (1, 2) or kind != 2:
            raise RecordingError(
                f"{where}: binary numbers of order {byte_order} and format {kind} are not supported; "
                "expected 1 or 2 "
                "and 2 (IEEE 754). Export as text."
            )
        if n_bytes < 0 or offset + n_bytes > found.n_bytes:
            raise RecordingError(
                f"{where}: a dataset 58b announces {n_bytes} bytes, but the file holds "
                f"{found.n_bytes - offset}. Copy it "
                "again."
            )
        file.seek(offset + n_bytes)
        end = file.tell()
        while (line := file.readline(_LINE)) and line.strip() != b"-1":
            if line.strip():
                raise RecordingError(f"{where}: a dataset 58b is longer than it announces. Export it again.")
        return _Function(lines, offset, end, "<" if byte_order == 1 else ">")
    end = offset
    for line in iter(lambda: file.readline(_LINE), b""):
        if line.strip() == b"-1":
            return _Function(lines, offset, end, "")
        end += len(line)
    raise RecordingError(f"{where}: the last dataset has no end. Copy or export the file again.")


@dataclass(frozen=True, slots=True)
class _Facts:
    name: str
    unit: str
    device: str
    dtype: str
    n: int
    even: bool
    start: float
    step: float
    step_bound: float
    """Half a unit of the last digit of the step."""
    time_factor: float
    to_si: float


def _label(line: str) -> tuple[int, str, str]:
    """Specific data type, axis label and unit label of a line 8 to 11 ('' for NONE)."""
    match = re.match(r"\s*([+-]?\d+)\s+[+-]?\d+\s+[+-]?\d+\s+[+-]?\d+ ?(.{0,20}) ?(.{0,20})", line)
    if not match:
        raise ValueError(f"line {line.strip()[:40]!r}")
    texts = [text.strip() if text.strip().upper() != "NONE" else "" for text in match.groups()[1:]]
    return int(match[1]), texts[0], texts[1]


def _trace_facts(function: _Function, system: _System | None) -> _Facts | str:
    """What the header says of a time history, or why it is none."""
    kind = function.ints(6)[0]
    numbers = function.lines[6].split()
    ordinate, n, even = (int(text) for text in numbers[:3])
    time_type, _, time_unit = _label(function.lines[7])
    data_type, axis, unit = _label(function.lines[8])
    title = function.lines[0].strip()
    shown = title if title.upper() != "NONE" else axis
    if kind not in (0, 1) or time_type != _TIME:
        what = _FUNCTIONS.get(kind, f"function of type {kind}")
        return f"{shown or 'a function'!r} is a {what}, no time history"
    if ordinate not in (2, 4):
        return f"{shown or 'a function'!r} holds complex numbers"
    if not 0 < n < 1 << 48 or even not in (0, 1):
        raise ValueError(f"{n} numbers, spacing {even}")
    time = find_unit(time_unit) if time_unit else None
    name, in_name = split_unit(shown)
    name = name.rstrip(" :,;")
    node = function.lines[5]
    device = node[41:51].strip() if len(node) > 51 else ""
    to_si = 1.0
    if not unit and not in_name and system is not None and data_type in _SI_BY_TYPE:
        unit, to_si = _SI_BY_TYPE[data_type], system.to_si(data_type)
    start, step = float(numbers[3]), float(numbers[4])
    decimals = len(numbers[4].lower().partition("e")[0].partition(".")[2])
    exponent = int(numbers[4].lower().partition("e")[2] or 0)
    factor = time.factor if time is not None and time.quantity == "time" else 1.0
    if even and not (np.isfinite(step) and step > 0 and np.isfinite(start)):
        raise ValueError(f"a step of {step} s")
    return _Facts(
        name or f"point {' '.join(map(str, function.ints(6)[4:6]))}",
        unit or in_name,
        "" if device.upper() == "NONE" else device,
        "f4" if ordinate == 2 else "f8",
        n,
        bool(even),
        start * factor,
        step * factor,
        0.5 * 10.0 ** (max(-300, exponent) - decimals) * factor,
        factor,
        to_si,
    )


def _started(line: str) -> datetime | None:
    match = re.match(r"\s*(\d\d?)-([A-Za-z]{3})-(\d\d(?:\d\d)?)\s+(\d\d):(\d\d):(\d\d)", line)
    if not match or match[2].lower() not in _MONTHS:
        return None
    year = int(match[3]) + (0 if len(match[3]) == 4 else 1900 if int(match[3]) >= 80 else 2000)
    try:
        return datetime(
            year,
            _MONTHS.index(match[2].lower()) + 1,
            int(match[1]),
            int(match[4]),
            int(match[5]),
            int(match[6]),
        )
    except ValueError:
        return None


def _source(
    found: Fingerprint, function: _Function, facts: _Facts, unit: Unit, name: str, notes: list[str]
) -> tuple[float, SampleSource]:
    """Rate of a time history and the source of its samples."""
    where = str(found.path)
    size = int(facts.dtype[1])
    if facts.even:
        rate = nearest_short(Interval(facts.step, facts.step_bound, 0.0))
        if function.order:
            if facts.n * size > function.end - function.offset:
                raise RecordingError(
                    f"{where}: channel {name!r} announces {facts.n} numbers, but holds "
                    f"{(function.end - function.offset) // size}. Export it again."
                )
            return rate, RawSamples(
                found, function.offset, function.order + facts.dtype, facts.n, size, rate, unit.factor,
                unit.offset, facts.start,
            )  # fmt: skip
        return rate, PieceSamples(found, _Numbers(found, function, facts, 1), unit, rate, facts.start)
    if function.order:
        raise RecordingError(
            f"{where}: channel {name!r} is binary and unevenly spaced, which is not supported."
        )
    fetch = _Numbers(found, function, facts, 2)
    _, stamps, _ = next(iter(fetch()))
    assert stamps is not None
    rate = rate_of_stamps(stamps[:_FIRST], stated=None, given=None, name="abscissa", where=where, notes=notes)
    return rate, PieceSamples(found, fetch, unit, rate)


@dataclass(frozen=True, slots=True)
class _Numbers:
    """Numbers of a text dataset, one or two (time and value) a sample."""

    found: Fingerprint
    function: _Function
    facts: _Facts
    width: int

    def __call__(self) -> Iterator[Piece]:
        where = self.found.path
        done, left = 0, self.function.end - self.function.offset
        rest = np.empty(0)
        with open_again(self.found) as file:
            file.seek(self.function.offset)
            while left > 0:
                text = file.read(min(_PIECE, left))
                text += file.readline(_LINE) if len(text) < left else b""
                if not text:
                    break
                left -= len(text)
                tokens = _NUMBER.findall(text.decode("latin-1"))
                try:
                    numbers = np.array([float(t.replace("D", "E").replace("d", "e")) for t in tokens])
                except ValueError as error:
                    raise RecordingError(
                        f"{where}: channel {self.facts.name!r} holds no number ({error})."
                    ) from None
                rest = np.concatenate([rest, numbers]) if rest.size else numbers
                n = min(rest.size // self.width, self.facts.n - done)
                pairs = rest[: n * self.width].reshape(n, self.width)
                stamps = pairs[:, 0] * self.facts.time_factor if self.width == 2 else None
                yield np.ascontiguousarray(pairs[:, -1]), stamps, done + 1
                rest, done = rest[n * self.width :], done + n
        if done != self.facts.n or rest.size:
            raise RecordingError(
                f"{where}: channel {self.facts.name!r} announces {self.facts.n} numbers, but holds "
                f"{done + rest.size // self.width}. Export it again."
            )


READER = Reader(
    "uff58",
    (".uff", ".unv", ".uf"),
    recognises,
    read_uff58,
    "universal files, datasets 58 and 58b",
    calibrations="unit system (dataset 164): SI always, others when asked",
)
