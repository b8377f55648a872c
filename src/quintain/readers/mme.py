"""Reader of ISO/TS 13499 (MME) tests: a header file, and beside it one text file a channel."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from quintain.domain.recording import Recording
from quintain.errors import RecordingError
from quintain.readers.columns_time import tidy
from quintain.readers.fingerprint import Fingerprint, take_fingerprint
from quintain.readers.reader import Reader
from quintain.readers.stamped import Piece, PieceSamples
from quintain.readers.traces import make_trace, unit_notes
from quintain.readers.units import parse_units

__all__ = ["READER", "read_mme", "recognises"]

_PIECE = 1 << 16
_LONGEST_HEADER = 1 << 18
_MOST_CHANNELS = 4096
_NAME_KEY = re.compile(r"name of channel (\d+)", re.IGNORECASE)
_OPENINGS = (b"data format edition number", b"laboratory name")
_UNITS = {"m/(s*s)": "m/s^2", "n*m": "N*m", "m/s/s": "m/s^2"}
"""Spellings of the standard that are rare elsewhere."""
_LIST = ".chn"
"""Ending of the list of channels."""
_NO_VALUE = ("noval", "nan", "")


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of a header file of a test, which names the edition or the lab."""
    first = head.removeprefix(b"\xef\xbb\xbf").lstrip()[:200].lower()
    return first.startswith(_OPENINGS) and b":" in first


def read_mme(path: str | os.PathLike[str], *, units: str | Mapping[str, str] | None = None) -> Recording:
    """
    Read a test after ISO/TS 13499, given its .mme file.

    Parameters
    ----------
    path : str or path-like
        The header file; channels lie in the folder 'Channel' beside it, as files that end in '.001', ...
    units : str or mapping, optional
        Unit of channels that state none (``'N'``), or units by channel code.

    Returns
    -------
    Recording
        One trace a channel, named by its code of 16 characters, with its own rate and start. Its hash is
        that of the header file; the other files and their hashes are its parts.

    Raises
    ------
    RecordingError
        If there are no channels, one that the list of channels names is not there, or one states no
        sampling interval, holds other rows than it announces, or takes its times from another channel.
    ChannelError, UnitError
        If a unit is given for a channel that is not there, or is not known.

    References
    ----------
    .. [1] ISO/TS 13499:2019, 'Road vehicles - Multimedia data exchange format for impact tests'; keys
       and layout from memory.
    """
    found = take_fingerprint(path)
    where = str(found.path)
    header, _, raw = _header(found.path, whole=True)
    notes: list[str] = ["the hash is that of the header file; each other file has its own"]
    files = _channel_files(found.path)
    _check_list(found.path, files)
    channels = [_channel(file) for file in files if not _is_list(file)]
    given = parse_units(units)
    names = [channel.code for channel in channels]
    given.check_names(names, where)
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise RecordingError(f"{where}: channel {twice!r} is there twice. Remove one of its files.")
    traces = []
    for name, channel in zip(names, channels, strict=True):
        unit = given.choose(name, _UNITS.get(channel.unit.lower(), channel.unit), where)
        rate = tidy(1 / channel.interval)
        source = PieceSamples(found, channel.rows, unit, rate, channel.rows.start)
        traces.append(make_trace(name, unit, rate, source, where=where))
    notes += unit_notes(tuple(traces))
    lists = [f"{file.name}\n{_header(file, whole=True)[2]}" for file in files if _is_list(file)]
    texts = [raw, *lists, *(f"{channel.rows.found.path.name}\n{channel.raw}" for channel in channels)]
    return Recording(
        where,
        found.digest,
        found.n_bytes,
        tuple(traces),
        "\n\n".join(texts),
        _date(dict(header)),
        READER.name,
        tuple(notes),
        parts=tuple((str(file), take_fingerprint(file).digest) for file in files),
    )


@dataclass(frozen=True, slots=True)
class _Rows:
    """Numbers of a channel, one a row below its header."""

    found: Fingerprint
    skip: int
    n: int
    start: float

    def __call__(self) -> Iterator[Piece]:
        """Numbers, some at a time."""
        path = self.found.path
        self.found.check_unchanged()
        done = 0
        with path.open(encoding="latin-1", newline=None) as file:
            rows = islice(file, self.skip, None)
            while lines := list(islice(rows, _PIECE)):
                while lines and done + len(lines) > self.n:
                    extra = lines.pop()
                    if extra.strip():
                        raise RecordingError(
                            f"{path}: the header announces {self.n} samples, but there are more rows. "
                            "Export the channel again."
                        )
                if lines:
                    yield self._numbers(lines, done), None, self.skip + done + 1
                done += len(lines)
        if done < self.n:
            raise RecordingError(
                f"{path}: the header announces {self.n} samples, but there are {done}. Copy the file again."
            )

    def _numbers(self, lines: list[str], done: int) -> NDArray[np.float64]:
        numbers = np.empty(len(lines))
        for i, line in enumerate(lines):
            cell = line.strip()
            try:
                numbers[i] = np.nan if cell.lower() in _NO_VALUE else float(cell)
            except ValueError:
                raise RecordingError(
                    f"{self.found.path}, row {self.skip + done + i + 1}: expected a number, got "
                    f"{cell[:30]!r}. Export the channel again."
                ) from None
        return numbers


def _channel_files(path: Path) -> list[Path]:
    for folder in (path.parent / "Channel", path.parent / "CHANNEL", path.parent / "channel", path.parent):
        if not folder.is_dir():
            continue
        files = sorted(f for f in folder.iterdir() if f.is_file() and (f.suffix[1:].isdigit() or _is_list(f)))
        if len(files) > _MOST_CHANNELS:
            raise RecordingError(
                f"{path}: there are {len(files)} channels; at most {_MOST_CHANNELS} are read."
            )
        if any(not _is_list(file) for file in files):
            return files
    raise RecordingError(
        f"{path}: there are no channels: expected files that end in .001, .002, ... in the folder 'Channel' "
        "beside it. Copy the whole folder of the test."
    )


def _is_list(file: Path) -> bool:
    return file.suffix.lower() == _LIST


def _check_list(path: Path, files: list[Path]) -> None:
    """Refuse a test that lacks a channel which the list of channels beside them names."""
    there = {int(file.suffix[1:]) for file in files if not _is_list(file)}
    for file in files:
        if not _is_list(file):
            continue
        for key, value in _header(file, whole=True)[0]:
            match = _NAME_KEY.fullmatch(key)
            if match and int(match[1]) not in there:
                listing = ", ".join(f.name for f in files if not _is_list(f))
                name = value.partition("/")[0].strip()[:40]
                raise RecordingError(
                    f"{path}: {file.name} names channel {match[1]} ({name!r}), but there is no file "
                    f"{file.stem}.{match[1]}; there are: {listing}. Copy the whole folder of the test."
                )


def _header(path: Path, *, whole: bool = False) -> tuple[list[tuple[str, str]], int, str]:
    """Lines 'key :value' from the beginning, how many lines they take, and their text as it stands."""
    fields: list[tuple[str, str]] = []
    lines: list[str] = []
    size = 0
    try:
        with path.open(encoding="latin-1", newline=None) as file:
            for n, line in enumerate(iter(lambda: file.readline(4096), "")):
                size += len(line)
                if size > _LONGEST_HEADER:
                    break
                key, colon, value = line.removeprefix("ï»¿").partition(":")
                if not colon and not whole:
                    return fields, n, "".join(lines)
                lines.append(line)
                if colon:
                    fields.append((" ".join(key.split()), value.strip()))
            else:
                if whole:
                    return fields, 0, "".join(lines)
    except OSError as error:
        raise RecordingError(f"{path}: the file cannot be read ({error.strerror}).") from None
    raise RecordingError(
        f"{path}: expected a header of lines 'key :value' and numbers below it. Copy the file again."
    )


@dataclass(frozen=True, slots=True)
class _Channel:
    """What the file of a channel says."""

    code: str
    unit: str
    interval: float
    """Sampling interval. [s]"""
    rows: _Rows
    raw: str
    """Its header as it stands."""


def _channel(path: Path) -> _Channel:
    found = take_fingerprint(path)
    fields, skip, raw = _header(path)
    says = {key.lower(): value for key, value in fields}
    code = says.get("channel code") or path.name
    reference = says.get("reference channel", "implicit").lower()
    if reference not in ("implicit", "", "novalue"):
        raise RecordingError(
            f"{path}: channel {code!r} takes its times from channel {reference!r}, which is not read. Export "
            "it with a sampling interval."
        )
    interval = _number(says, "sampling interval", path)
    n = int(_number(says, "number of samples", path))
    if not interval > 0 or not np.isfinite(1 / interval):
        raise RecordingError(f"{path}: the sampling interval must be above 0 s, got {interval}.")
    # A row has a digit and a line end at least; the last may lack the latter.
    if not 0 < n <= found.n_bytes // 2 + 1:
        raise RecordingError(
            f"{path}: the header announces {n} samples, which do not fit into {found.n_bytes} bytes. Copy "
            "the file again."
        )
    start = _number(says, "time of first sample", path) if "time of first sample" in says else 0.0
    return _Channel(code, says.get("unit", ""), interval, _Rows(found, skip, n, start), raw)


def _number(says: Mapping[str, str], key: str, path: Path) -> float:
    text = says.get(key, "")
    try:
        value = float(text)
    except ValueError:
        value = np.nan
    if not np.isfinite(value):
        raise RecordingError(f"{path}: expected a number for {key!r}, got {text[:30]!r}. Export it again.")
    return float(value)


def _date(says: Mapping[str, str]) -> datetime | None:
    try:
        return datetime.fromisoformat(says.get("Date of the test", ""))
    except ValueError:
        return None


READER = Reader(
    "mme",
    (".mme",),
    recognises,
    read_mme,
    "ISO/TS 13499 (MME) channels; from memory, no real file tried",
    _channel_files,
    calibrations="none",
)
