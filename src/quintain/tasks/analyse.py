"""From a recording to its strikes, in one pass and bounded memory."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quintain.domain.analysis import Analysis
from quintain.domain.as_json import strike_as_json
from quintain.domain.flags import Flag, flag
from quintain.domain.history import Step, hash_of
from quintain.domain.method import Method
from quintain.domain.recording import Recording
from quintain.domain.rig import Mode, Rig
from quintain.domain.strike import ForceCurve, Strike
from quintain.domain.trace import Block, Trace
from quintain.errors import UnitError
from quintain.numerics.onset import Event, StrikeScanner
from quintain.numerics.taps import identify_from_strikes
from quintain.readers.registry import read
from quintain.tasks.measure import RigInUse, Window, measure_strike
from quintain.tasks.progress import Progress, silent
from quintain.version import __version__

__all__ = ["analyse", "analyse_file", "find_strikes", "pick_force"]

KEEP = 40.0
"""Seconds of samples kept behind the newest: longer than any event and the rest beside it."""

REST = 1.0
"""At most so much rest before and after an event goes into its zero. [s]"""

STRIKES_FOR_MODE = 20
"""Without a rig file, its ringing is estimated from the first strikes, at most this many."""


def analyse_file(
    path: str | Path,
    *,
    rig: Rig | None = None,
    method: Method | None = None,
    channel: str | None = None,
    curves: bool = True,
    executor: Executor | None = None,
    progress: Progress = silent,
    **reading: Any,
) -> Analysis:
    """
    Read a recording and analyse one of its channels.

    Parameters
    ----------
    path : path
        The recording's file.
    rig, method, channel, curves, executor, progress
        As for :func:`analyse`.
    **reading
        What the file does not say itself, see :func:`quintain.readers.registry.read`.

    Returns
    -------
    Analysis
        Strikes with everything needed to follow them back to the bytes.

    Raises
    ------
    RecordingError
        If the file cannot be read, or changes while it is read.
    """
    recording = read(path, **reading)
    return analyse(
        recording,
        rig=rig,
        method=method,
        channel=channel,
        curves=curves,
        executor=executor,
        progress=progress,
    )


def analyse(
    recording: Recording | Trace,
    *,
    rig: Rig | None = None,
    method: Method | None = None,
    channel: str | None = None,
    curves: bool = True,
    executor: Executor | None = None,
    progress: Progress = silent,
) -> Analysis:
    """
    Find every strike of a recording and measure it.

    Parameters
    ----------
    recording : Recording or Trace
        What was recorded; of several force channels, ``channel`` names one.
    rig : Rig, optional
        How the rig rings, its calibration and limits. Without it the ringing is estimated from the
        recording itself and flagged so.
    method : Method, optional
        All settings; the standard ones if not given.
    channel : str, optional
        Name of the channel.
    curves : bool
        Whether to keep the curves of each strike, for figures and for joining the limb's motion. They
        are what grows with a recording: some 0.1 MB a strike.
    executor : concurrent.futures.Executor, optional
        Where strikes are measured; in this process if not given. The results are the same.
    progress : Progress, optional
        Told of the samples read, and able to stop the work.

    Returns
    -------
    Analysis
        Strikes in order of time.

    Raises
    ------
    ChannelError
        If the channel cannot be told.
    UnitError
        If the channel's unit is no force and the rig file has no calibration for it.
    """
    method = method or Method()
    if isinstance(recording, Trace):
        recording = Recording("", "", 0, (recording,))
    trace = pick_force(recording, rig, channel)
    began = datetime.now(UTC).isoformat(timespec="seconds")
    in_use = RigInUse.of(rig)
    pool = _Pool(executor, method, curves)
    waiting: list[Window] = []
    decided = bool(in_use.modes) or method.correction.kind == "none"
    seen = _Seen()
    for window in _windows(trace, in_use, method, seen, progress):
        waiting.append(window)
        if not decided and len(waiting) == STRIKES_FOR_MODE:
            in_use, decided = _find_mode(waiting, in_use), True
        if decided:
            pool.add(waiting, in_use)
            waiting = []
    if waiting:
        pool.add(waiting, _find_mode(waiting, in_use))
    strikes = pool.results()
    output = hash_of([strike_as_json(s) for s in strikes])
    inputs = (recording.sha256, *((rig.version,) if rig else ()))
    step = Step("quintain.analyse", __version__, method.settings(), inputs, output, began)
    return Analysis(
        path=recording.path,
        sha256=recording.sha256,
        n_bytes=recording.n_bytes,
        channel=trace.name,
        unit_in_file=trace.unit_in_file or trace.unit,
        rate=trace.rate,
        duration=seen.samples / trace.rate,
        rig=rig,
        method=method,
        strikes=tuple(strikes),
        flags=tuple(seen.flags()),
        history=(step,),
        quintain=__version__,
    )


def find_strikes(trace: Trace, *, rig: Rig | None = None, method: Method | None = None) -> list[Event]:
    """
    Find the strikes of a trace without measuring them.

    Parameters
    ----------
    trace : Trace
        Force over time.
    rig, method
        As for :func:`analyse`.

    Returns
    -------
    list of Event
        Sample numbers of start, stop and contacts; see :class:`quintain.numerics.onset.Event`.
    """
    found = _windows(trace, RigInUse.of(rig), method or Method(), _Seen(), silent)
    return [window.event for window in found]


# -- the trace


def pick_force(recording: Recording, rig: Rig | None, channel: str | None) -> Trace:
    """
    Choose the channel to analyse and see that it is a force.

    Parameters
    ----------
    recording : Recording
        What was recorded.
    rig : Rig or None
        Its calibration turns volts into newtons.
    channel : str or None
        Name of the channel; None takes the only force.

    Returns
    -------
    Trace
        Force in newtons.

    Raises
    ------
    ChannelError
        If the channel cannot be told.
    UnitError
        If its unit is no force and the rig file has no calibration for it.
    """
    trace = recording.trace(channel)
    if trace.unit == "N":
        return trace
    where = f"{recording.path or 'recording'}, channel {trace.name!r}"
    calibration = rig.calibration if rig else None
    if calibration and calibration.input_unit == trace.unit and calibration.coefficients:
        return Trace(
            trace.name,
            "force",
            "N",
            trace.rate,
            _Calibrated(trace, calibration.coefficients),
            trace.device,
            trace.unit_in_file or trace.unit,
        )
    raise UnitError(
        f"{where}: expected a force, got {trace.quantity} in {trace.unit_in_file or trace.unit or '(none)'}; "
        "name a force channel with --channel, or give calibration.input_unit and calibration.coefficients "
        "in the rig file"
    )


@dataclass(frozen=True, slots=True)
class _Calibrated:
    """Samples of a trace turned into newtons by a polynomial without constant."""

    trace: Trace
    coefficients: tuple[float, ...]

    def blocks(self) -> Iterator[Block]:
        for block in self.trace.blocks():
            samples = np.asarray(np.polyval((*self.coefficients[::-1], 0.0), block.samples), dtype=np.float64)
            yield block._replace(samples=samples)


class _Seen:
    """What was met on the way through the recording."""

    def __init__(self) -> None:
        self.samples = 0
        self.joins: dict[str, list[float]] = {}

    def join(self, code: str, time: float) -> None:
        self.joins.setdefault(code, []).append(time)

    def flags(self) -> list[Flag]:
        return [
            flag(code, f"{len(times)} times, first at {times[0]:.4f} s", where=f"{times[0]:.4f} s")
            for code, times in self.joins.items()
        ]


def _windows(
    trace: Trace, rig: RigInUse, method: Method, seen: _Seen, progress: Progress
) -> Iterator[Window]:
    """Events with their surroundings, as the blocks come in; only the newest samples are kept."""
    detection = method.detection
    scanner = StrikeScanner(
        trace.rate,
        natural_frequency=[mode.natural_frequency for mode in rig.modes] or None,
        damping_ratio=[mode.damping_ratio for mode in rig.modes] or None,
        threshold_sigmas=detection.threshold_sigmas,
        minimum_force=detection.minimum_force,
        merge_gap=detection.merge_gap,
        quiet_time=detection.quiet_time,
        limits=rig.limits,
    )
    kept = _Kept(trace.rate)
    for block in trace.blocks():
        if block.join:
            seen.join(block.join, block.start)
            for event in scanner.finish():
                yield kept.window(event, block.join)
            kept.clear()
        kept.append(block)
        seen.samples += block.samples.size
        for event in scanner.push(block.samples, block.first):
            yield kept.window(event)
        kept.forget()
        progress("samples", seen.samples, None)
    for event in scanner.finish():
        yield kept.window(event)


class _Kept:
    """The newest samples of a stretch without breaks in time."""

    def __init__(self, rate: float) -> None:
        self.rate = rate
        self.join = ""
        self.clear()

    def clear(self) -> None:
        self.samples: NDArray[np.float64] = np.empty(0)
        self.first = 0
        self.start = 0.0

    def append(self, block: Block) -> None:
        if not self.samples.size:
            self.first, self.start, self.join = block.first, block.start, block.join
        self.samples = np.concatenate([self.samples, block.samples])

    def forget(self) -> None:
        extra = self.samples.size - round(KEEP * self.rate)
        if extra > 0:
            self.samples = self.samples[extra:]
            self.first += extra
            self.start += extra / self.rate

    def window(self, event: Event, join: str = "") -> Window:
        """Cut an event out, with the rest before and after that its zero needs."""
        rest = round(REST * self.rate)
        first = max(event.start - rest, self.first, event.quiet_before[0])
        first = min(first, max(event.contacts[0][0] - round(0.1 * self.rate), self.first))
        last = max(min(event.stop + rest, event.quiet_after[1]), event.stop)
        samples = self.samples[first - self.first : last - self.first].copy()
        if self.join and event.quiet_before[0] <= self.first:
            join = join or self.join
        return Window(samples, first, self.start + (first - self.first) / self.rate, self.rate, event, join)


# -- the rig's ringing, where no rig file gives it


def _find_mode(windows: list[Window], rig: RigInUse) -> RigInUse:
    tails = []
    for window in windows:
        begin = window.event.contacts[-1][1] + 2 - window.first
        tails.append(window.samples[begin : window.event.stop - window.first])
    try:
        ring = identify_from_strikes(tails, windows[0].rate)
    except ValueError:
        return rig
    return rig.with_modes(
        Mode(float(f), float(z), float(s), float(uf), float(uz))
        for f, z, s, uf, uz in zip(
            ring.natural_frequency,
            ring.damping_ratio,
            ring.share,
            ring.u_natural_frequency,
            ring.u_damping_ratio,
            strict=True,
        )
    )


# -- measuring, here or elsewhere


class _Pool:
    """Measures strikes in this process or through an executor, and gives them back in order."""

    def __init__(self, executor: Executor | None, method: Method, curves: bool) -> None:
        self._executor = executor
        self._method = method
        self._measure = measure_strike if curves else _measure_without_curve
        self._found: list[Strike | Future[Strike]] = []

    def add(self, windows: list[Window], rig: RigInUse) -> None:
        for window in windows:
            job = (window, rig, self._method, len(self._found) + 1)
            if self._executor is None:
                self._found.append(self._measure(*job))
            else:
                self._found.append(self._executor.submit(self._measure, *job))

    def results(self) -> list[Strike]:
        return [found if isinstance(found, Strike) else found.result() for found in self._found]


def _measure_without_curve(window: Window, rig: RigInUse, method: Method, number: int) -> Strike:
    return replace(measure_strike(window, rig, method, number), curve=ForceCurve.nothing())
