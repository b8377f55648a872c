"""Reader of HDF5 files: every array of numbers is a channel, by its path; read in place."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quintain.domain.recording import Recording
from quintain.errors import ChannelError, RecordingError
from quintain.readers.arrays import NamedArray, array_channels, is_rate_name, recording_of_arrays
from quintain.readers.calibration import ArrayCalibration, asks_for_calibration
from quintain.readers.columns_mapping import parse_columns
from quintain.readers.fingerprint import Fingerprint, take_fingerprint
from quintain.readers.reader import Reader

__all__ = ["READER", "read_hdf5", "recognises"]

_SIGNATURE = b"\x89HDF\r\n\x1a\n"
_BOMB_RATIO = 1000
_SMALL = 64 << 20
_LARGEST_CHUNK = 1 << 28


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of an HDF5 file, with or without a block of a user before it."""
    return any(head[at : at + 8] == _SIGNATURE for at in (0, 512, 1024, 2048))


def read_hdf5(
    path: str | os.PathLike[str],
    *,
    columns: str | None = None,
    rate: float | None = None,
    units: str | Mapping[str, str] | None = None,
    calibration: str | None = None,
) -> Recording:
    """
    Read an HDF5 file.

    Parameters
    ----------
    path : str or path-like
        The file. Arrays of one or two dimensions are channels named by their path, the longer dimension is
        time; one called 't' or 'time' in the same group, or of the same length, holds the times.
        Attributes 'unit', 'units', 'sample_rate', 'sampling_rate' or 'fs' of an array, its group or the
        file are heeded.
    columns : str, optional
        Which array is what: ``'time=rig/t[s],force=rig/fz[N]'``; left out, all arrays are taken. A column
        of a wide array is written ``imu_acc[0]`` and takes its unit from ``units``.
    rate : float, optional
        Sampling rate, where the file has neither times nor a rate. [Hz]
    units : str or mapping, optional
        Unit of channels that state none (``'N'``), or units by channel (``'rig/fz=kN'``).
    calibration : str, optional
        ``'file'`` to use the attributes 'scale_factor' and 'add_offset' of arrays. Left out, an array that
        has them is raw numbers without a unit.

    Returns
    -------
    Recording
        One trace a column; samples are read from the file when they are asked for.

    Raises
    ------
    RecordingError
        If the file is damaged, announces far more numbers than it holds, or has no rate.
    ChannelError, UnitError
        If an array asked for is not there, or a unit is missing for times or not known.

    References
    ----------
    .. [1] CF Conventions 1.11, section 8.1 'Packed Data', https://cfconventions.org.
    """
    return read_tree(
        take_fingerprint(path), READER.name, columns=columns, rate=rate, units=units, calibration=calibration
    )


def read_tree(
    found: Fingerprint,
    reader: str,
    *,
    columns: str | None,
    rate: float | None,
    units: str | Mapping[str, str] | None,
    calibration: str | None = None,
) -> Recording:
    """Read the arrays of an HDF5 file for a format that is built on it."""
    import h5py

    where = str(found.path)
    try:
        with h5py.File(where, "r") as file:
            arrays = list(_arrays(file, where))
            header = "\n".join(_describe(file))
    except RecordingError:
        raise
    except Exception as error:
        # h5py turns what its C library finds into many kinds of exceptions.
        raise _damaged(where, error) from None
    if columns is not None:
        arrays = _chosen(arrays, columns, where, raw=not asks_for_calibration(calibration))
    return recording_of_arrays(
        found, arrays, reader=reader, units=units, rate=rate, header=header,
        calibration=calibration,
    )  # fmt: skip


def _damaged(where: str, error: Exception) -> RecordingError:
    reason = str(error).splitlines()[0][:200] if str(error) else type(error).__name__
    return RecordingError(f"{where}: this HDF5 file cannot be read ({reason}). Copy or write it again.")


def _datasets(group: Any, depth: int = 0) -> Iterator[Any]:
    """Arrays below a group; links to other files are not followed."""
    import h5py

    for name in group:
        if depth > 20 or group.get(name, getlink=True).__class__ is not h5py.HardLink:
            continue
        item = group[name]
        if isinstance(item, h5py.Dataset):
            yield item
        elif isinstance(item, h5py.Group) and not name.startswith("#"):
            yield from _datasets(item, depth + 1)


def _text(value: object) -> str:
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    if isinstance(value, np.ndarray):
        return str(value.tolist())
    return str(value)


def _attribute_rate(item: Any) -> float | None:
    for name in item.attrs:
        if is_rate_name(name):
            value = np.asarray(item.attrs[name]).reshape(-1)
            if value.size == 1 and value.dtype.kind in "iuf" and float(value[0]) > 0:
                return float(value[0])
    return None


def _arrays(file: Any, where: str) -> Iterator[NamedArray]:
    single = {}
    datasets = [d for d in _datasets(file) if d.dtype.kind in "iufV" and not d.is_virtual and not d.external]
    for dataset in datasets:
        name = dataset.name.rpartition("/")[2]
        if dataset.size == 1 and dataset.dtype.kind in "iuf" and is_rate_name(name):
            single[dataset.parent.name] = float(np.asarray(dataset[()]).reshape(-1)[0])
    for dataset in datasets:
        kind = _text(dataset.attrs.get("MATLAB_class", "double"))
        if dataset.size in (None, 0, 1) or kind in ("char", "logical", "cell", "struct"):
            continue
        stored = dataset.id.get_storage_size()
        if dataset.size * dataset.dtype.itemsize > max(_SMALL, _BOMB_RATIO * stored):
            raise RecordingError(
                f"{where}: array {dataset.name!r} announces {dataset.size} numbers but holds {stored} "
                "bytes. Write the file again."
            )
        chunk = math.prod(dataset.chunks or ()) * dataset.dtype.itemsize
        if dataset.chunks and chunk > _LARGEST_CHUNK and dataset.id.get_create_plist().get_nfilters():
            raise RecordingError(
                f"{where}: array {dataset.name!r} is packed in pieces of {chunk} bytes, each of which "
                "would be unpacked whole. Write it in pieces of some MB."
            )
        rate = (
            _attribute_rate(dataset)
            or _attribute_rate(dataset.parent)
            or single.get(dataset.parent.name)
            or single.get("/")
            or _attribute_rate(file)
        )
        unit = _text(dataset.attrs.get("unit", dataset.attrs.get("units", "")))
        more = {"unit": unit, "group": dataset.parent.name, "interval": 1 / rate if rate else None}
        more["calibration"] = _packing(dataset)
        for array in array_channels(dataset.name.lstrip("/"), dataset, **more):
            yield _rebound(array, dataset, where)


def _packing(dataset: Any) -> ArrayCalibration | None:
    """Scale of packed numbers as the conventions for climate and forecast data name it."""
    values = []
    for name, default in (("scale_factor", 1.0), ("add_offset", 0.0)):
        value = np.asarray(dataset.attrs.get(name, default)).reshape(-1)
        if value.size != 1 or value.dtype.kind not in "iuf" or not np.isfinite(value[0]):
            return None
        values.append(float(value[0]))
    return None if values == [1.0, 0.0] else ArrayCalibration(*values)


def _rebound(array: NamedArray, dataset: Any, where: str) -> NamedArray:
    """The column fetched anew from the file, which is closed until then."""
    how = array.fetch.args[1:]  # type: ignore[attr-defined]
    # Two packed pieces stay unpacked: a piece that is not kept would be unpacked for each block anew.
    cache = max(1 << 20, 2 * math.prod(dataset.chunks or ()) * dataset.dtype.itemsize)
    return replace(array, fetch=_Dataset(where, dataset.name, array.fetch.func, how, cache))  # type: ignore[attr-defined]


@dataclass(frozen=True, slots=True)
class _Dataset:
    """Numbers of a column of an array, by place."""

    where: str
    path: str
    slicer: Callable[..., NDArray[np.float64]]
    how: tuple[Any, ...]
    cache: int
    """Unpacked pieces that are kept. [byte]"""

    def __call__(self, i: int, j: int) -> NDArray[np.float64]:
        with self.opened() as fetch:
            return fetch(i, j)

    @contextmanager
    def opened(self) -> Iterator[Callable[[int, int], NDArray[np.float64]]]:
        """Keep the file open for many pieces."""
        import h5py

        try:
            with h5py.File(self.where, "r", rdcc_nbytes=self.cache) as file:
                yield partial(self._fetch, file[self.path])
        except (OSError, KeyError, RuntimeError, ValueError) as error:
            raise _damaged(self.where, error) from None

    def _fetch(self, dataset: Any, i: int, j: int) -> NDArray[np.float64]:
        numbers = self.slicer(dataset, *self.how, i, j)
        if numbers.shape != (j - i,):
            raise RecordingError(
                f"{self.where}: array {self.path!r} is shorter than it was. Read the file again."
            )
        return numbers


def _describe(file: Any) -> Iterator[str]:
    """Attributes and arrays of the file as text."""
    for name in file.attrs:
        yield f"{name}: {_text(file.attrs[name])}"
    for dataset in _datasets(file):
        attributes = ", ".join(f"{name}={_text(dataset.attrs[name])}" for name in dataset.attrs)
        yield f"{dataset.name}: {dataset.dtype} {dataset.shape} {attributes}".rstrip()


def _chosen(arrays: list[NamedArray], columns: str, where: str, *, raw: bool) -> list[NamedArray]:
    """Arrays that the user asks for; a unit stated for them is that of the ``raw`` numbers if so."""
    there = {array.name: array for array in arrays}
    chosen = []
    for name, which, unit in parse_columns(columns):
        key = str(which).lstrip("/")
        if key not in there:
            listing = ", ".join(map(repr, there)) or "none"
            raise ChannelError(f"{where}: there is no array {key!r}; there are: {listing}")
        array = replace(there[key], name=name, unit=unit or there[key].unit)
        chosen.append(replace(array, calibration=None) if raw and unit else array)
    return chosen


READER = Reader(
    "hdf5",
    (".h5", ".hdf5", ".hdf", ".nc"),
    recognises,
    read_hdf5,
    "HDF5 arrays by path",
    calibrations="scale_factor and add_offset when asked",
)
