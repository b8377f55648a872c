"""Reader of plain binary numbers whose layout a small TOML file describes."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, NoReturn

from quintain.domain.recording import Recording
from quintain.domain.trace import Trace
from quintain.errors import RecordingError, UsageError
from quintain.readers.fingerprint import read_head, take_fingerprint
from quintain.readers.raw_samples import RawSamples
from quintain.readers.reader import Reader
from quintain.readers.traces import make_trace, unit_notes
from quintain.readers.units import UnitsGiven

__all__ = ["READER", "read_raw", "recognises"]

_TYPES = {
    "int8": "i1", "int16": "i2", "int24": "i3", "int32": "i4", "int64": "i8", "uint8": "u1", "uint16": "u2",
    "uint32": "u4", "uint64": "u8", "float32": "f4", "float64": "f8",
}  # fmt: skip
_KEYS = {"rate", "header", "byte_order", "order", "started", "channels"}
_CHANNEL_KEYS = {"name", "type", "unit", "factor", "zero", "skip"}


def recognises(head: bytes) -> bool:
    """Never: plain numbers cannot be told from others; the setting ``layout`` chooses this reader."""
    return False


def read_raw(path: str | os.PathLike[str], *, layout: str | os.PathLike[str] | None = None) -> Recording:
    """
    Read plain binary numbers.

    Parameters
    ----------
    path : str or path-like
        The file of numbers.
    layout : str or path-like
        TOML file that describes them: ``rate`` [Hz]; ``header``, bytes before the first number (0 if left
        out); ``byte_order``, 'little' (default) or 'big'; ``order``, 'samples' (default: one number of each
        channel after the other) or 'channels' (all numbers of a channel, then the next); ``started``, a
        date and time; and a ``[[channels]]`` each with ``name``, ``type`` (int8 to int64, int24, uint8 to
        uint64, float32, float64), ``unit``, and optionally ``factor`` and ``zero``, so that a value is
        zero + factor x number in that unit. A ``[[channels]]`` with ``skip`` alone leaves out that many
        bytes of each sample.

    Returns
    -------
    Recording
        One trace a channel, read in place.

    Raises
    ------
    UsageError
        If the layout is missing, or has an entry that cannot be used; file and line are named.
    RecordingError
        If the numbers do not fit the layout.
    UnitError
        If a unit is not known.
    """
    if layout is None:
        raise UsageError(f"{path}: plain numbers need a description. State it with layout='layout.toml'.")
    text, entries = _load(Path(layout))
    plan = _Plan(Path(layout), text, entries)
    found = take_fingerprint(path)
    where = str(found.path)
    left = found.n_bytes - plan.header
    n = max(0, left // plan.row)
    if n == 0:
        raise RecordingError(
            f"{where}: {found.n_bytes} bytes hold no sample of {plan.row} bytes after {plan.header}."
        )
    if plan.by_channel and left % plan.row:
        raise RecordingError(
            f"{where}: {left} bytes are no whole number of samples of {plan.row} bytes, so the channels "
            "cannot be told "
            "apart. Check header and types in the layout."
        )
    notes = [f"{left % plan.row} bytes at the end are no whole sample"] if left % plan.row else []
    traces: list[Trace] = []
    at = 0
    for channel in plan.channels:
        size = channel.get("skip") or int(plan.dtype(channel)[2:])
        if "skip" not in channel:
            name = channel["name"]
            unit = UnitsGiven("", {}).choose(name, channel.get("unit", ""), where)
            offset = plan.header + (at * n if plan.by_channel else at)
            source = RawSamples(
                found,
                offset,
                plan.dtype(channel),
                n,
                size if plan.by_channel else plan.row,
                plan.rate,
                channel.get("factor", 1.0) * unit.factor,
                channel.get("zero", 0.0) * unit.factor + unit.offset,
            )
            remedy = f"state unit in {layout}"
            traces.append(make_trace(name, unit, plan.rate, source, where=where, remedy=remedy))
        at += size
    notes += unit_notes(tuple(traces))
    if plan.header:
        text += "\n" + read_head(path, min(plan.header, 1 << 16)).decode("latin-1")
    return Recording(
        where, found.digest, found.n_bytes, tuple(traces), text, plan.started, READER.name, tuple(notes)
    )


def _load(path: Path) -> tuple[str, Mapping[str, Any]]:
    try:
        text = path.read_text(encoding="utf-8")
        return text, tomllib.loads(text)
    except OSError as error:
        raise UsageError(f"{path}: the layout cannot be read ({error.strerror}).") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise UsageError(f"{path}: the layout is no TOML — {error}.") from None


class _Plan:
    """A layout with every entry checked."""

    def __init__(self, path: Path, text: str, entries: Mapping[str, Any]) -> None:
        self._path, self._lines = path, text.splitlines()
        for key in entries:
            if key not in _KEYS:
                self._refuse(key, f"there is no entry {key!r}; there are {', '.join(sorted(_KEYS))}")
        self.rate = float(self._number(entries, "rate", None, above=0))
        header = entries.get("header", 0)
        if isinstance(header, bool) or not isinstance(header, int) or header < 0:
            self._refuse("header", f"header must be a number of bytes, at least 0, got {header!r}")
        self.header = int(header)
        self._big = self._choice(entries, "byte_order", ("little", "big")) == "big"
        self.by_channel = self._choice(entries, "order", ("samples", "channels")) == "channels"
        started = entries.get("started")
        if started is not None and not isinstance(started, datetime):
            self._refuse(
                "started", f"started must be a date and time such as 2026-11-25T10:00:00, got {started!r}"
            )
        self.started = started
        channels = entries.get("channels")
        if not isinstance(channels, list) or not all(isinstance(c, dict) for c in channels):
            self._refuse("channels", "at least one [[channels]] is needed")
        self.channels: list[dict[str, Any]] = channels
        names = []
        for channel in self.channels:
            self._check(channel)
            names.append(channel.get("name"))
        given = [name for name in names if name is not None]
        if not given:
            self._refuse("channels", "at least one [[channels]] with a name is needed")
        for name in given:
            if given.count(name) > 1:
                self._refuse("name", f"the name {name!r} stands twice")
        self.row = sum(c.get("skip") or int(self.dtype(c)[2:]) for c in self.channels)

    def dtype(self, channel: Mapping[str, Any]) -> str:
        """Type of a channel's numbers with byte order."""
        return (">" if self._big else "<") + _TYPES[channel["type"]]

    def _check(self, channel: Mapping[str, Any]) -> None:
        for key in channel:
            if key not in _CHANNEL_KEYS:
                self._refuse(
                    key, f"a channel has no entry {key!r}; it has {', '.join(sorted(_CHANNEL_KEYS))}"
                )
        if "skip" in channel:
            skip = channel["skip"]
            if (
                isinstance(skip, bool)
                or not isinstance(skip, int)
                or not 0 < skip < 1 << 20
                or len(channel) > 1
            ):
                self._refuse("skip", f"skip must stand alone and be a number of bytes, got {skip!r}")
            return
        if not isinstance(channel.get("name"), str) or not channel["name"]:
            self._refuse("channels", "each channel needs a name")
        if channel.get("type") not in _TYPES:
            self._refuse("type", f"type must be one of {', '.join(_TYPES)}, got {channel.get('type')!r}")
        if not isinstance(channel.get("unit", ""), str):
            self._refuse("unit", f"unit must be a text, got {channel['unit']!r}")
        self._number(channel, "factor", 1.0)
        self._number(channel, "zero", 0.0)

    def _number(
        self, entries: Mapping[str, Any], key: str, default: float | None, above: float | None = None
    ) -> float:
        value = entries.get(key, default)
        if (
            not isinstance(value, (int, float))
            or isinstance(value, bool)
            or not abs(value) < 1e300
            or (above is not None and not value > above)
        ):
            bound = "" if above is None else f" above {above:g}"
            self._refuse(key, f"{key} must be a number{bound}, got {value!r}")
        return float(value)

    def _choice(self, entries: Mapping[str, Any], key: str, choices: tuple[str, str]) -> str:
        value = entries.get(key, choices[0])
        if value not in choices:
            self._refuse(key, f"{key} must be {choices[0]!r} or {choices[1]!r}, got {value!r}")
        return str(value)

    def _refuse(self, key: str, problem: str) -> NoReturn:
        found = [i + 1 for i, line in enumerate(self._lines) if line.split("=")[0].strip(" []\"'") == key]
        place = f", line {found[0]}" if found else ""
        raise UsageError(f"{self._path}{place}: {problem}.")


READER = Reader(
    "raw",
    (".bin", ".raw", ".dat"),
    recognises,
    read_raw,
    "plain binary numbers, by a layout in TOML",
    calibrations="factor and zero as the layout states",
)
