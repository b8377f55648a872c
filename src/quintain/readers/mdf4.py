"""Reader of MDF 4 files, through the library asammdf, which is installed only where it is wanted."""

from __future__ import annotations

import os
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, redirect_stderr, redirect_stdout, suppress
from dataclasses import dataclass
from io import StringIO
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quintain.domain.recording import FoundCalibration, Recording
from quintain.domain.trace import Trace
from quintain.errors import ChannelError, RecordingError
from quintain.readers.fingerprint import Fingerprint, read_head, take_fingerprint
from quintain.readers.reader import Reader
from quintain.readers.stamped import Piece, PieceSamples, rate_of_stamps
from quintain.readers.traces import make_trace, unit_notes
from quintain.readers.units import UnitsGiven, parse_units

__all__ = ["READER", "read_mdf4", "recognises"]

_PIECE = 1 << 18
_FIRST = 20_000
_LARGEST_BLOCK = 1 << 28
"""The standard advises blocks of 4 MB; a zipped one that unfolds to 256 MB is no recording. [byte]"""
_CONVERSIONS = {
    2: "rational function", 3: "formula", 4: "table with interpolation", 5: "table", 6: "table of ranges",
}  # fmt: skip
"""Kinds of conversion of the standard that give numbers."""
_MASTERS = (2, 3)
"""Channel types of times, stored and computed."""


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of an MDF file, finished or cut off while it was written."""
    return head.startswith((b"MDF     ", b"UnFinMF "))


def read_mdf4(path: str | os.PathLike[str], *, units: str | Mapping[str, str] | None = None) -> Recording:
    """
    Read an MDF 4 file; needs ``pip install "quintain[mdf]"``.

    Parameters
    ----------
    path : str or path-like
        The file.
    units : str or mapping, optional
        Unit of channels that state none (``'N'``), or units by channel (``'Fz=kN'``).

    Returns
    -------
    Recording
        One trace a channel of numbers, converted as the file says, with the rate of its channel group.
        Channels whose name occurs in several groups carry the group's number ('Fz [group 2]').

    Raises
    ------
    RecordingError
        If the library is not installed, the file is of another version or damaged, or no group of
        channels is evenly sampled.
    ChannelError, UnitError
        If the file has no channel of numbers, or a unit is given for a channel that is not there.

    References
    ----------
    .. [1] ASAM MDF, 'Measurement Data Format', version 4, https://www.asam.net/standards/detail/mdf/.
    """
    found = take_fingerprint(path)
    where = str(found.path)
    version = read_head(path, 16)[8:16].strip(b"\0 ").decode("latin-1")
    if not version.startswith("4."):
        raise RecordingError(f"{where}: this is an MDF file of version {version!r}; 4 is read. Convert it.")
    notes = ["values are converted as the file says, by the library asammdf"]
    with _opened(found) as file:
        channels = [c for k in range(len(file.groups)) for c in _channels(file, k, found, notes)]
        header = "\n".join(_describe(file))
        calibrations = tuple(_conversions(file, channels))
        started = file.header.start_time
        traces = _traces(file, channels, found, parse_units(units), notes)
    notes += unit_notes(traces)
    return Recording(
        where, found.digest, found.n_bytes, traces, header, started, READER.name, tuple(notes), calibrations
    )


def _describe(file: Any) -> Iterator[str]:
    """What the file says beside its numbers: header, history, attachments, groups and channels."""
    yield f"MDF {file.version}"
    yield from filter(None, [file.header.comment])
    for entry in file.file_history:
        yield f"history {entry.time_stamp}: {entry.comment}"
    for attachment in file.attachments:
        yield f"attachment {attachment.file_name}: {attachment.comment}"
    for k, group in enumerate(file.groups):
        inside = group.channel_group
        yield f"group {k}: {inside.acq_name}, {inside.cycles_nr} samples, {inside.comment}"
        for channel in group.channels:
            yield f"channel {channel.name} [{channel.unit}]: {channel.comment}"


def _conversions(file: Any, channels: list[_Channel]) -> Iterator[FoundCalibration]:
    """How the library turns stored numbers into those of the unit, for channels that have a conversion."""
    for channel in channels:
        conversion = file.groups[channel.group].channels[channel.index].conversion
        kind = conversion.conversion_type if conversion else 0
        if not kind:
            continue
        text = _CONVERSIONS.get(kind, f"conversion of kind {kind}")
        if kind == 1:
            text = f"{conversion.b:.9g} + {conversion.a:.9g} x stored"
        yield FoundCalibration(channel.name, f"{text} [{channel.unit or 'no unit stated'}]", True)


def _damaged(where: str, error: BaseException) -> RecordingError:
    reason = " ".join(str(error).split())[:200] or type(error).__name__
    return RecordingError(f"{where}: this MDF file is damaged or cut off ({reason}). Write or copy it again.")


@contextmanager
def _opened(found: Fingerprint) -> Iterator[Any]:
    """The file as the library sees it; whatever goes wrong inside becomes one clear error."""
    where = str(found.path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            from asammdf import MDF
        except ImportError:
            raise RecordingError(
                f"{where}: MDF files are read by the library asammdf, which is not there. Install it: "
                'pip install "quintain[mdf]".'
            ) from None
        _quiet()
        opened: Any = MDF
        try:
            with found.path.open("rb") as stream:
                # The library prints what it thinks of odd comments.
                with redirect_stdout(StringIO()), redirect_stderr(StringIO()):
                    file = opened(stream, process_bus_logging=False)
                with file:
                    yield file
        except (RecordingError, ChannelError):
            raise
        except Exception as error:
            # The library lets many kinds of exceptions through where bytes are damaged.
            _close_half_made(error)
            raise _damaged(where, error) from None


def _close_half_made(error: Exception) -> None:
    """
    Close what the library was about to make when it met damaged bytes.

    Otherwise the collector closes it later, and the error of that goes to the screen.
    """
    step = error.__traceback__
    while step is not None:
        maker: Any = step.tb_frame.f_locals.get("self")
        if type(maker).__name__ == "MDF4":
            with suppress(AttributeError):
                maker.close()
        step = step.tb_next


def _quiet() -> None:
    """Keep the library's log from the screen; errors reach the user as ours."""
    import logging

    logging.getLogger("asammdf").setLevel(logging.CRITICAL + 1)


@dataclass(frozen=True, slots=True)
class _Channel:
    """One channel of numbers, fetched from the file when asked for."""

    found: Fingerprint
    group: int
    index: int
    name: str
    unit: str
    device: str
    n: int

    def __call__(self) -> Iterator[Piece]:
        """Samples with their stamps, some at a time."""
        with _opened(self.found) as file:
            for i in range(0, self.n, _PIECE):
                j = min(i + _PIECE, self.n)
                stamps = _times(file, self.group, i, j)
                samples = self.numbers(file, i, j)
                if len(samples) != j - i or len(stamps) != j - i:
                    raise RecordingError(
                        f"{self.found.path}: channel {self.name!r} ends before sample {j}. Copy it again."
                    )
                yield samples, stamps, i + 1

    def numbers(self, file: Any, i: int, j: int) -> NDArray[np.float64]:
        """Samples ``i`` to ``j``, NaN where the file says they are invalid."""
        samples, invalid = _get(file, self.group, self.index, i, j)
        with np.errstate(over="ignore", invalid="ignore"):
            numbers = np.array(samples, dtype=np.float64)
        if invalid is not None:
            numbers[np.asarray(invalid, dtype=bool)] = np.nan
        return numbers


def _get(file: Any, group: int, index: int, i: int, j: int) -> tuple[Any, Any]:
    answer: tuple[Any, Any] = file.get(
        group=group, index=index, record_offset=i, record_count=j - i, samples_only=True
    )
    return answer


def _times(file: Any, group: int, i: int, j: int) -> NDArray[np.float64]:
    return np.asarray(file.get_master(group, record_offset=i, record_count=j - i), dtype=np.float64)


def _count(file: Any, k: int, found: Fingerprint, notes: list[str]) -> int:
    """Records that are really there in a group, at most those announced."""
    group = file.groups[k]
    announced = int(group.channel_group.cycles_nr)
    record = int(group.channel_group.samples_byte_nr) + int(group.channel_group.invalidation_bytes_nr)
    stored = 0
    for block in group.get_data_blocks():
        if block.original_size > _LARGEST_BLOCK or block.compressed_size > found.n_bytes:
            raise RecordingError(
                f"{found.path}: a block of {block.compressed_size} bytes announces {block.original_size}. "
                "Write the file again."
            )
        stored += int(block.original_size)
    if not record:
        return 0
    if stored // record < announced:
        notes.append(f"group {k} announces {announced} samples, but {stored // record} are in the file")
    return min(announced, stored // record)


def _channels(file: Any, k: int, found: Fingerprint, notes: list[str]) -> list[_Channel]:
    """Channels of numbers of a group that has times."""
    group = file.groups[k]
    n = _count(file, k, found, notes)
    if n < 2 or file.masters_db.get(k) is None:
        if group.channels:
            notes.append(f"group {k} has {n} samples or no times and is left out")
        return []
    source = group.channel_group.acq_source
    of_group = (source.name if source else "") or group.channel_group.acq_name or ""
    found_here = []
    for index, channel in enumerate(group.channels):
        if channel.channel_type in _MASTERS:
            continue
        samples, _ = _get(file, k, index, 0, 1)
        if samples.dtype.kind not in "iuf" or samples.ndim != 1:
            notes.append(f"channel {channel.name!r} holds no plain numbers and is left out")
            continue
        unit = channel.unit or (channel.conversion.unit if channel.conversion else "") or ""
        device = (channel.source.name if channel.source else "") or of_group
        found_here.append(_Channel(found, k, index, channel.name, unit, device, n))
    return found_here


def _traces(
    file: Any, channels: list[_Channel], found: Fingerprint, given: UnitsGiven, notes: list[str]
) -> tuple[Trace, ...]:
    where = str(found.path)
    if not channels:
        said = notes[-1] if len(notes) > 1 else "no group"
        raise ChannelError(f"{where}: there is no channel of numbers with times in the file ({said}).")
    often = Counter(c.name for c in channels)
    names = [c.name if often[c.name] == 1 else f"{c.name} [group {c.group}]" for c in channels]
    given.check_names(names, where)
    rates: dict[int, float] = {}
    uneven: list[RecordingError] = []
    for k, n in {c.group: c.n for c in channels}.items():
        try:
            stamps = _times(file, k, 0, min(n, _FIRST))
            rates[k] = rate_of_stamps(
                stamps, stated=None, given=None, name=f"group {k}", where=where, notes=notes
            )
        except RecordingError as error:
            uneven.append(error)
            notes.append(f"group {k} is left out: {str(error).removeprefix(where + ': ')}")
    if not rates:
        raise uneven[0]
    traces = []
    for channel, name in zip(channels, names, strict=True):
        if channel.group in rates:
            unit = given.choose(name, channel.unit, where)
            fetch: Callable[[], Iterator[Piece]] = channel
            source = PieceSamples(found, fetch, unit, rates[channel.group])
            traces.append(
                make_trace(name, unit, rates[channel.group], source, where=where, device=channel.device)
            )
    return tuple(traces)


READER = Reader(
    "mdf4",
    (".mf4", ".mdf"),
    recognises,
    read_mdf4,
    "MDF 4 (needs quintain[mdf])",
    calibrations="conversions always",
)
