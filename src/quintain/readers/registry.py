"""The list of readers, and the choice of one for a file."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from functools import cache
from importlib.metadata import EntryPoint, entry_points
from typing import Any

from quintain.domain.recording import Recording
from quintain.errors import RecordingError, UsageError
from quintain.readers import (
    arrow_file,
    c3d,
    columns,
    hdf5,
    lvm,
    matlab,
    mdf4,
    mme,
    numpy_file,
    raw_layout,
    scope,
    tdms,
    uff58,
    wav,
)
from quintain.readers.fingerprint import read_head
from quintain.readers.reader import HEAD, Reader

__all__ = ["find_reader", "list_readers", "read"]

ENTRY_POINTS = "quintain.readers"
"""Group of entry points under which other packages offer a :class:`Reader`."""

_OWN: tuple[Reader, ...] = (
    wav.READER,
    lvm.READER,
    tdms.READER,
    uff58.READER,
    numpy_file.READER,
    arrow_file.READER,
    matlab.READER,
    c3d.READER,
    mdf4.READER,
    mme.READER,
    hdf5.READER,
    raw_layout.READER,
    scope.READER,
    columns.READER,
)
"""Formats that are told by their first bytes come first; text of any make is asked last."""


def list_readers() -> tuple[Reader, ...]:
    """
    All readers, in the order in which they are asked: those of other packages, then our own.

    Raises
    ------
    UsageError
        If another package offers something that is no reader.
    """
    outside = []
    for point in _offered(entry_points):
        try:
            reader = point.load()
        except Exception as error:
            raise UsageError(
                f"the reader {point.name!r} of another package cannot be loaded ({error}). Update or "
                "remove that package."
            ) from error
        if not isinstance(reader, Reader):
            raise UsageError(f"the entry point {point.name!r} gives a {type(reader).__name__}, not a Reader.")
        outside.append(reader)
    return (*outside, *_OWN)


@cache
def _offered(look: Callable[..., Iterable[EntryPoint]]) -> tuple[EntryPoint, ...]:
    """What other packages offer; looking through all that is installed takes longer than a small file."""
    return tuple(look(group=ENTRY_POINTS))


def find_reader(path: str | os.PathLike[str], name: str | None = None) -> Reader:
    """
    Choose the reader for a file by its first bytes, or by name.

    Parameters
    ----------
    path : str or path-like
        The file.
    name : str, optional
        Name of the reader to take whatever the bytes say.

    Returns
    -------
    Reader
        The first that recognises the file.

    Raises
    ------
    UsageError
        If there is no reader of that name.
    RecordingError
        If the file cannot be opened, or no reader recognises it.
    """
    readers = list_readers()
    if name is not None:
        for reader in readers:
            if reader.name == name:
                return reader
        raise UsageError(f"there is no reader {name!r}; there are: {', '.join(r.name for r in readers)}")
    head = read_head(path, HEAD)
    for reader in readers:
        if reader.recognises(head):
            return reader
    raise RecordingError(
        f"{path}: no reader knows this kind of file (it begins with {head[:12]!r}). Known are: "
        f"{'; '.join(reader.about for reader in readers)}. Export the recording as one of these."
    )


def read(path: str | os.PathLike[str], *, reader: str | None = None, **settings: Any) -> Recording:
    """
    Read a recording.

    Parameters
    ----------
    path : str or path-like
        The file.
    reader : str, optional
        Name of the reader to take; chosen by the file's first bytes if left out.
    **settings
        What the file does not say itself. Delimited text takes ``columns``, ``rate`` [Hz], ``units``,
        ``encoding``, ``separator``, ``decimal`` and ``first_row``
        (see :func:`quintain.readers.columns.read_columns`); ``layout`` describes plain binary numbers
        (see :func:`quintain.readers.raw_layout.read_raw`). Settings that are None are left out.

    Returns
    -------
    Recording
        Traces in SI units; samples are read from the file when they are asked for.

    Raises
    ------
    RecordingError
        If the file cannot be read, or no reader knows it.
    UsageError
        If a setting is not one of the reader's.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "blow.csv")
    ...     _ = path.write_text("t [ms];Kraft [kN]\\n0;0,0\\n1;1,5\\n2;0,0\\n")
    ...     trace = read(path).trace("Kraft")
    ...     print(trace.rate, trace.unit, trace.read())
    1000.0 N [   0. 1500.    0.]
    """
    given = {name: value for name, value in settings.items() if value is not None}
    if reader is None and "layout" in given:
        reader = raw_layout.READER.name
    chosen = find_reader(path, reader)
    for name in given:
        if name not in chosen.settings:
            takes = ", ".join(chosen.settings) or "no settings"
            raise UsageError(f"{path}: the reader {chosen.name!r} does not take {name!r}; it takes {takes}.")
    return chosen.read(path, **given)
