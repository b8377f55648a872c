"""
Look at a recording of the lab at any zoom: its channels, the cache that needs, and what is drawn over it.

Everything kept is in the lab's cache and may be deleted at any time.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select

from quintain.domain.recording import Recording
from quintain.domain.rig import Rig
from quintain.domain.trace import Trace
from quintain.errors import ChannelError, LabError, MissingError, QuintainError
from quintain.readers.registry import read
from quintain.store import schema
from quintain.store.curves import read_curves
from quintain.store.lab import Lab
from quintain.store.pyramid import Pyramid, build_pyramid, open_pyramid
from quintain.tasks.analyse import pick_force
from quintain.tasks.progress import Progress, silent
from quintain.version import __version__

__all__ = [
    "Channel",
    "Corrected",
    "Look",
    "Marked",
    "build_zoom",
    "corrected_in",
    "look_into",
    "marks_of",
    "open_zoom",
    "zoom_key",
]

Floats = NDArray[np.float64]

LONGEST = 5.0
"""Windows longer than this show no corrected curves: they would be a few pixels wide. [s]"""

MOST = 16
"""Corrected curves drawn at a time."""

_KEY = re.compile(r"[0-9a-f]{24}-[0-9a-f]{12}-[0-9]{1,4}")
_HEADER = 20_000
_FIT = 4096


@dataclass(frozen=True, slots=True)
class Channel:
    """A channel of a recording as its file gives it; ``unit`` is SI, as it is drawn."""

    number: int
    name: str
    quantity: str
    unit: str
    unit_in_file: str
    rate: float
    device: str


@dataclass(frozen=True, slots=True)
class Look:
    """
    What a file says of itself.

    ``force`` is the number of the channel that is analysed, None where it cannot be told, and
    ``trouble`` says why.
    """

    channels: tuple[Channel, ...]
    force: int | None
    trouble: str
    reader: str
    started: str
    notes: tuple[str, ...]
    header: str


@dataclass(frozen=True, slots=True)
class Marked:
    """A strike as a mark on its recording."""

    id: int
    position: int
    start: float
    state: str
    flagged: bool


@dataclass(frozen=True, slots=True)
class Corrected:
    """The corrected force of a strike on the recording's own clock and scale, zero included."""

    strike_id: int
    time: Floats
    force: Floats
    u: Floats


def look_into(lab: Lab, sha256: str) -> Look:
    """
    Say what a recording's file holds; kept in the cache, so that a long file is opened once.

    Parameters
    ----------
    lab : Lab
        The lab.
    sha256 : str
        The recording.

    Raises
    ------
    LabError
        If there is no such recording, or its bytes are gone.
    RecordingError
        If its file cannot be read as the lab was told.
    """
    told = _told(lab, sha256)
    place = lab.cache / "zoom" / f"{told.key}.json"
    known = _kept_look(place)
    if known is not None:
        return known
    recording = told.open(lab)
    force, trouble = None, ""
    try:
        picked = pick_force(recording, told.rig, told.channel or None)
        force = next(i for i, trace in enumerate(recording.traces) if trace.name == picked.name)
    except QuintainError as problem:
        trouble = _clean(str(problem), told)
    channels = tuple(
        Channel(i, t.name, t.quantity, "N" if i == force else t.unit, t.unit_in_file, t.rate, t.device)
        for i, t in enumerate(recording.traces)
    )
    look = Look(
        channels, force, trouble, recording.reader,
        "" if recording.started is None else recording.started.isoformat(),
        recording.notes, recording.header[:_HEADER],
    )  # fmt: skip
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(json.dumps(asdict(look)), encoding="utf-8")
    except OSError:  # a cache is no reason to stop
        pass
    return look


def zoom_key(lab: Lab, sha256: str, channel: int) -> str:
    """Name of a channel's pyramid: it changes with the bytes and with how they are read."""
    return f"{_told(lab, sha256).key}-{channel}"


def open_zoom(lab: Lab, sha256: str, channel: int, *, key: str = "") -> Pyramid | None:
    """
    The pyramid of a channel, or None where it is not built (any more).

    ``key`` from :func:`zoom_key`, where it is known, spares asking the database: a window of a zoom shall
    be there within a few milliseconds.
    """
    if not (_KEY.fullmatch(key) and key.startswith(sha256[:24])):
        key = zoom_key(lab, sha256, channel)
    folder = lab.cache / "zoom"
    try:
        made = (folder / key / "facts.json").stat().st_mtime_ns
    except OSError:
        return None
    return _opened(folder, key, made)


@lru_cache(maxsize=16)
def _opened(folder: Path, key: str, made: int) -> Pyramid | None:
    """The files as they were ``made`` [ns], mapped into memory once."""
    return open_pyramid(folder, key)


def build_zoom(lab: Lab, sha256: str, channel: int, *, progress: Progress = silent) -> Pyramid:
    """
    Build the pyramid of a channel.

    Parameters
    ----------
    lab : Lab
        The lab.
    sha256 : str
        The recording.
    channel : int
        Number of the channel, from 0.
    progress : Progress
        Told of samples read, and able to stop the work; nothing is left then.

    Raises
    ------
    LabError
        If the bytes are gone or the cache cannot be written.
    RecordingError
        If the file cannot be read, or the channel's unit is not known.
    """
    told = _told(lab, sha256)
    recording = told.open(lab)
    if not 0 <= channel < len(recording.traces):
        raise ChannelError(
            f"{told.name}: expected a channel from 0 to {len(recording.traces) - 1}, got {channel}"
        )
    trace: Trace = recording.traces[channel]
    if look_into(lab, sha256).force == channel:
        trace = pick_force(recording, told.rig, trace.name)
    total = None if told.duration is None else told.duration * trace.rate
    return build_pyramid(
        trace, lab.cache / "zoom", f"{told.key}-{channel}", progress=lambda n: progress("samples", n, total)
    )


def marks_of(lab: Lab, sha256: str) -> tuple[Marked, ...]:
    """The strikes of a recording in order of time, those that are gone left out."""
    with lab.reading() as database:
        rows = database.execute(
            select(schema.Strike, schema.Result.codes)
            .outerjoin(schema.Result, schema.Result.id == schema.Strike.result_id)
            .where(schema.Strike.recording_sha256 == sha256, schema.Strike.state != "gone")
            .order_by(schema.Strike.start)
        ).all()
    return tuple(Marked(s.id, s.position, s.start, s.state, bool(codes)) for s, codes in rows)


def corrected_in(
    lab: Lab, sha256: str, pyramid: Pyramid, start: float, end: float
) -> tuple[tuple[Corrected, ...], tuple[int, ...]]:
    """
    Corrected curves of the strikes in a window, to be drawn over the recording.

    Parameters
    ----------
    lab : Lab
        The lab.
    sha256 : str
        The recording.
    pyramid : Pyramid
        Of its channel of force, which gives scale and zero.
    start, end : float
        The window on the recording's clock. [s]

    Returns
    -------
    tuple of Corrected
        Of up to :data:`MOST` strikes; none where the window is longer than :data:`LONGEST`.
    tuple of int
        Strikes whose curves are not in the cache; :func:`quintain.tasks.replay.curves_of` makes them again.

    Notes
    -----
    The curves of an analysis are less the zero, positive into the pad and scaled by the rig's gain; the
    straight line between its raw curve and the recording's samples takes all that back.
    """
    if not 0 < end - start <= LONGEST:
        return (), ()
    found, missing = [], []
    with lab.reading() as database:
        rows = database.execute(
            select(schema.Strike.id, schema.Strike.start, schema.Result.number, schema.Analysis.output)
            .join(schema.Result, schema.Result.id == schema.Strike.result_id)
            .join(schema.Analysis, schema.Analysis.id == schema.Result.analysis_id)
            .where(schema.Strike.recording_sha256 == sha256, schema.Strike.state != "gone")
            .where(schema.Strike.start > start - 1.0, schema.Strike.start < end)
            .order_by(schema.Strike.start)
            .limit(MOST)
        ).all()
    for strike_id, begins, number, output in rows:
        curves = read_curves(lab.cache, output, number)
        if curves is None:
            missing.append(strike_id)
            continue
        force = curves.force
        if force.corrected.size < 2:
            continue
        slope, zero = _scale(pyramid, begins + force.raw_time[:_FIT], force.raw[:_FIT])
        time = begins + force.time
        held = (time >= start) & (time <= end)
        if held.any():
            found.append(
                Corrected(
                    strike_id, time[held], slope * force.corrected[held] + zero,
                    abs(slope) * force.u_corrected[held],
                )
            )  # fmt: skip
    return tuple(found), tuple(missing)


# -- how a recording is read


@dataclass(frozen=True, slots=True)
class _Told:
    sha256: str
    name: str
    reading: dict[str, Any]
    channel: str
    rig_text: str
    duration: float | None
    key: str

    @property
    def rig(self) -> Rig | None:
        """The rig, read only where it is needed: every window of a zoom asks for the key."""
        return Rig.from_toml(self.rig_text) if self.rig_text else None

    def open(self, lab: Lab) -> Recording:
        path = lab.originals.path(self.sha256)
        try:
            return read(path, **lab.originals.settings(self.reading))
        except QuintainError as problem:
            problem.args = (_clean(str(problem), self, path), *problem.args[1:])
            raise


def _told(lab: Lab, sha256: str) -> _Told:
    with lab.reading() as database:
        row = database.get(schema.Recording, sha256)
        if row is None:
            raise MissingError(f"there is no recording {sha256[:12]}… in the lab")
        if row.gone is not None:
            raise LabError(
                f"{row.name}: the original bytes were erased or found missing on {row.gone:%Y-%m-%d}; "
                "numbers that were made from them stay"
            )
        rig_id = row.rig_id
        if rig_id is None and row.session_id is not None:
            rig_id = database.scalar(select(schema.Session.rig_id).where(schema.Session.id == row.session_id))
        version = (
            None
            if rig_id is None
            else database.scalar(
                select(schema.RigVersion)
                .join(schema.Rig, schema.Rig.current == schema.RigVersion.version)
                .where(schema.Rig.id == rig_id)
            )
        )
        text = "" if version is None else version.toml
        reading, channel, name, duration = dict(row.reading), row.channel, row.name, row.duration
    known = json.dumps([sha256, reading, channel, text, __version__], sort_keys=True)
    key = f"{sha256[:24]}-{hashlib.sha256(known.encode()).hexdigest()[:12]}"
    return _Told(sha256, name, reading, channel, text, duration, key)


def _kept_look(place: Path) -> Look | None:
    try:
        known = json.loads(place.read_text(encoding="utf-8"))
        channels = tuple(Channel(**one) for one in known.pop("channels"))
        return Look(channels=channels, notes=tuple(known.pop("notes")), **known)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _clean(words: str, told: _Told, path: Path | None = None) -> str:
    """An error that names the recording as people know it, not by its place in the lab."""
    return words if path is None else words.replace(str(path), told.name)


def _scale(pyramid: Pyramid, time: Floats, raw: Floats) -> tuple[float, float]:
    """Slope and zero from the raw curve of a strike to the samples of the recording."""
    stretch = np.clip(np.searchsorted(pyramid.start, time[0], "right") - 1, 0, pyramid.start.size - 1)
    at = pyramid.first[stretch] + np.rint((time - pyramid.start[stretch]) * pyramid.rate).astype(np.int64)
    inside = (at >= 0) & (at < pyramid.n_samples)
    samples = np.asarray(pyramid.levels[0][at[inside]], dtype=float)
    raw = raw[inside]
    both = np.isfinite(samples) & np.isfinite(raw)
    if both.sum() < 2 or np.ptp(raw[both]) == 0:
        return 1.0, 0.0
    slope, zero = np.polyfit(raw[both], samples[both], 1)
    return float(slope), float(zero)
