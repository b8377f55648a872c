"""Reader of oscilloscope text whose header stands in the cells beside the first samples."""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Mapping
from dataclasses import replace

from quintain.domain.recording import Recording
from quintain.readers.columns import read_columns
from quintain.readers.fingerprint import read_head
from quintain.readers.reader import HEAD, Reader

__all__ = ["READER", "read_scope", "recognises"]

_FIRST = re.compile(rb'(?:\xef\xbb\xbf)?"?Record Length"?,[^,\n]*,[^,\n]*,[^,\n]+,[^,\n]+')
_NAME = re.compile(r"[\w .+-]{1,40}")


def recognises(head: bytes) -> bool:
    """Whether the first line holds the record's length, and two numbers beside it."""
    return _FIRST.match(head) is not None


def read_scope(
    path: str | os.PathLike[str],
    *,
    columns: str | None = None,
    rate: float | None = None,
    units: str | Mapping[str, str] | None = None,
) -> Recording:
    """
    Read text of an oscilloscope: key, value and unit in three cells, time and sample in two more.

    Parameters
    ----------
    path : str or path-like
        The file. The channel is named by the key 'Source', else 'signal', and its unit by 'Vertical Units'.
    columns : str, optional
        Which column is what, where that is not enough: ``'time=4[s],force=5[kN]'``.
    rate : float, optional
        Sampling rate, to be checked against the time column. [Hz]
    units : str or mapping, optional
        Unit of the channel if the file states none (``'N'`` or ``'signal=N'``).

    Returns
    -------
    Recording
        One trace; time is that of the file, mostly 0 at the trigger.

    Raises
    ------
    RecordingError
        If the file is damaged or not evenly sampled.
    ChannelError, UnitError
        If a unit is given for a channel that is not there, or is not known.

    Notes
    -----
    The layout is that of a file by others; the keys 'Source' and 'Vertical Units' are from memory.
    """
    said: dict[str, str] = {}
    if columns is None:
        text = read_head(path, HEAD).decode("latin-1").replace("\0", "")
        for cells in csv.reader(text.splitlines()[:-1]):
            if len(cells) >= 2 and cells[0].strip():
                said[cells[0].strip(' "').lower()] = cells[1].strip()
        name, unit = said.get("source", ""), said.get("vertical units", "")
        name = name if _NAME.fullmatch(name) else "signal"
        columns = f"time=4[s],{name}=5" + (f"[{unit}]" if _NAME.fullmatch(unit) else "")
    return replace(read_columns(path, columns=columns, rate=rate, units=units), reader=READER.name)


READER = Reader(
    "scope",
    (".csv",),
    recognises,
    read_scope,
    "oscilloscope text with its header beside the samples",
    calibrations="none",
)
