"""Tap tests: from recordings of taps to the rig's modes and what they allow."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.domain.flags import Flag, flag
from quintain.domain.history import Step
from quintain.domain.measured import Measured
from quintain.domain.rig import Rig
from quintain.domain.rig_log import LogEntry
from quintain.domain.tap import Tap, TapMode, TapTest, TrustedPulse
from quintain.domain.trace import Trace
from quintain.errors import AnalysisError, UsageError
from quintain.numerics.added_mass import MovingMass, find_moving_mass
from quintain.numerics.alias import alias_candidates, resolve_by_added_mass, resolve_by_rates
from quintain.numerics.bad_samples import marked_runs
from quintain.numerics.bandwidth import shortest_corrected_pulse, shortest_pulse, usable_bandwidth
from quintain.numerics.ring_down import RingDown, cramer_rao, identify_ring_down
from quintain.numerics.taps import JointModes, combine_taps, find_taps
from quintain.readers.registry import read
from quintain.tasks.evidence_time import evidence_time, in_zone
from quintain.tasks.progress import Progress, silent
from quintain.tasks.rig_file import Change, append_log, has_newer, update_rig
from quintain.version import __version__

__all__ = ["record_taps", "tap_files"]

TOLERANCES = (0.01, 0.02, 0.05)
RESTLESS = 0.05
"""A steady swing above this part of the tap is no rest to tap in: it pulls modes by more than is stated
(seen on simulated taps)."""


class _Heard(NamedTuple):
    """One recording with its taps."""

    path: str
    sha256: str
    started: datetime | None
    trace: Trace
    taps: list[Tap]
    decays: list[RingDown]


def tap_files(
    paths: Sequence[str | Path],
    *,
    loaded: str | Path | None = None,
    added_mass: float | None = None,
    u_added_mass: float = 0.0,
    rig: Rig | None = None,
    channel: str | None = None,
    n_modes: int | None = None,
    progress: Progress = silent,
    **reading: Any,
) -> TapTest:
    """
    Identify a rig from recordings of taps.

    Parameters
    ----------
    paths : sequence of path
        Recordings of the same rig; at two different rates they also settle whether a mode is folded.
    loaded : path, optional
        A further recording, with a known mass bolted on where blows land.
    added_mass, u_added_mass : float, optional
        That mass and its standard uncertainty. [kg]
    rig : Rig, optional
        Rig file; only its anti-alias filter is used.
    channel : str, optional
        Channel to analyse; needed if there is more than one of force.
    n_modes : int, optional
        Number of modes; chosen by an information criterion if not given.
    progress : Progress, optional
        Told of the recordings read.
    **reading
        What the files do not say themselves, see :func:`quintain.readers.registry.read`.

    Returns
    -------
    TapTest
        Modes, and what they allow.

    Raises
    ------
    AnalysisError
        If no tap is found, nothing decays, or no mode is seen in enough taps.
    UsageError
        If only one of ``loaded`` and ``added_mass`` is given, or a number is absurd.
    """
    if (loaded is None) != (added_mass is None):
        raise UsageError("an added-mass test needs both: the recording with the mass on, and the mass in kg")
    if added_mass is not None and not 0 < added_mass < 1000:
        raise UsageError(f"the added mass must lie above 0 and below 1000 kg, got {added_mass:g} kg")
    if not 0 <= u_added_mass < 1000:
        raise UsageError(f"u_added_mass must lie above 0 and below 1000 kg, got {u_added_mass:g} kg")
    if n_modes is not None and not 1 <= n_modes <= 8:
        raise UsageError(f"the number of modes must lie between 1 and 8, got {n_modes}")
    began = datetime.now(UTC).isoformat(timespec="seconds")
    settings = {"channel": channel, "n_modes": n_modes, "reading": dict(reading)}
    heard = []
    for i, path in enumerate(paths):
        heard.append(_listen(path, channel, reading, n_modes))
        progress("recordings", i + 1, len(paths))
    by_rate: dict[float, list[_Heard]] = {}
    for one in heard:
        by_rate.setdefault(one.trace.rate, []).append(one)
    fastest = max(by_rate)
    joint = _combine(by_rate[fastest])
    flags = [flag(code) for code in joint.flags]
    candidates, frequencies, damping = _unfold(joint, fastest, by_rate, rig, flags)
    mass = _weigh(loaded, added_mass, u_added_mass, joint, fastest, channel, reading, n_modes, flags)
    modes = _modes(joint, by_rate[fastest], candidates, frequencies, damping)
    inputs = [(one.path, one.sha256) for one in heard]
    trusted = tuple(
        TrustedPulse(t, *shortest_pulse(frequencies, damping, t, share=joint.share)) for t in TOLERANCES
    )
    try:
        corrected = shortest_corrected_pulse(float(frequencies.min()), fastest)
    except ValueError:
        corrected = None
    output = hashlib.sha256(
        repr([(m.natural_frequency, m.damping_ratio) for m in modes]).encode()
    ).hexdigest()
    step = Step("quintain.tap", __version__, settings, tuple(sha for _, sha in inputs), output, began)
    return TapTest(
        inputs=tuple(inputs),
        channel=heard[0].trace.name,
        unit=heard[0].trace.unit,
        rates=tuple(one.trace.rate for one in heard),
        modes=modes,
        taps=tuple(tap for one in heard for tap in one.taps),
        shortest_pulses=trusted,
        shortest_corrected_pulse=corrected,
        bandwidth=usable_bandwidth(frequencies, damping, 0.05, share=joint.share),
        moving_mass=mass and Measured("moving_mass", mass.mass, mass.u_mass),
        moving_stiffness=mass and Measured("moving_stiffness", mass.stiffness, mass.u_stiffness),
        left_out=tuple(float(f) for f in joint.left_out),
        flags=tuple(flags),
        history=(step,),
        started=min((in_zone(one.started) for one in heard if one.started), default=None),
    )


def record_taps(test: TapTest, rig_path: str | Path, *, when: datetime | None = None) -> Rig:
    """
    Write the modes of a tap test into a rig file and note the test in its log.

    A test older than another in the log goes into the log alone: the file keeps what the newer one told.

    Parameters
    ----------
    test : TapTest
        What the taps told.
    rig_path : path
        Rig file; its earlier version is kept.
    when : datetime.datetime, optional
        When the taps were made, with its offset from UTC; as their recording says if not given, or now.

    Returns
    -------
    Rig
        The rig as it now is.

    Raises
    ------
    UsageError
        If the time lies in the future or cannot be, see :func:`~quintain.tasks.evidence_time.evidence_time`.
    RigFileError
        If the rig file cannot be used.
    """
    at = evidence_time(when, test.started)
    rows = [
        {
            "natural_frequency": round(mode.natural_frequency.value, 6),
            "damping_ratio": round(mode.damping_ratio.value, 8),
            "share": round(mode.share, 6),
            "u_natural_frequency": mode.natural_frequency.u,
            "u_damping_ratio": mode.damping_ratio.u,
        }
        for mode in test.modes
    ]
    changes: dict[str, Change] = {"modes": rows}
    if test.moving_stiffness is not None:
        changes["cell"] = {"stiffness": float(f"{test.moving_stiffness.value:.6g}")}
    rig = Rig.load(rig_path) if has_newer(rig_path, "tap", at) else update_rig(rig_path, changes)
    main = test.main_mode
    values = {"natural_frequency": main.natural_frequency, "damping_ratio": main.damping_ratio}
    shas = tuple(sha for _, sha in test.inputs)
    append_log(rig_path, LogEntry(at, "tap", rig.version, shas, values, "", __version__))
    return rig


# -- one recording


def _listen(path: str | Path, channel: str | None, reading: Mapping[str, Any], n_modes: int | None) -> _Heard:
    recording = read(path, **reading)
    trace = recording.trace(channel)
    taps, decays, refusals = [], [], []
    for start, samples in _stretches(trace):
        try:
            found = find_taps(samples, trace.rate)
        except ValueError as problem:
            refusals.append(str(problem))
            continue
        for decay in found:
            piece = samples[decay.first : decay.stop]
            try:
                ring = identify_ring_down(piece, trace.rate, n_modes=n_modes)
            except ValueError as problem:
                refusals.append(str(problem))
                continue
            if "steady-tone" in ring.flags and (left := _left_over(piece)) > RESTLESS:
                refusals.append(
                    f"at {start + decay.first / trace.rate:.4f} s a swing as large as {100 * left:.0f} % of "
                    "the tap does not die away: the rig is being moved, or something hums"
                )
                continue
            decays.append(ring)
            at = start + decay.first / trace.rate
            taps.append(
                Tap(
                    str(path),
                    at,
                    piece.size / trace.rate,
                    tuple(float(f) for f in ring.natural_frequency),
                    tuple(float(z) for z in ring.damping_ratio),
                    tuple((row.n_modes, row.criterion, row.residual_sd) for row in ring.orders),
                    tuple(flag(code, where=f"{path}, {at:.4f} s") for code in ring.flags),
                )
            )
    if not decays:
        why = f": {refusals[0]}" if refusals else ""
        raise AnalysisError(
            f"{path}, channel {trace.name!r}: no tap was found that rings freely{why}. "
            "Tap so that the ringing stands well above the noise, and leave a second of rest after it"
        )
    return _Heard(str(path), recording.sha256, recording.started, trace, taps, decays)


def _left_over(piece: NDArray[np.float64]) -> float:
    """Amplitude of what swings in the second half of a tap, over the tap's own."""
    late = piece[piece.size // 2 :]
    return float(np.sqrt(2) * late.std() / np.abs(piece - late.mean()).max())


def _stretches(trace: Trace) -> Iterator[tuple[float, NDArray[np.float64]]]:
    """Pieces of a trace without breaks in time or missing samples, each with the time of its first sample."""
    start = 0.0
    parts: list[NDArray[np.float64]] = []

    def pieces() -> Iterator[tuple[float, NDArray[np.float64]]]:
        whole = np.concatenate(parts)
        for i, j in marked_runs(np.isfinite(whole)):
            yield start + i / trace.rate, whole[i:j]

    for block in trace.blocks():
        if block.join and parts:
            yield from pieces()
            parts = []
        if not parts:
            start = block.start
        parts.append(block.samples)
    if parts:
        yield from pieces()


# -- all of them together


def _combine(heard: Sequence[_Heard]) -> JointModes:
    try:
        return combine_taps([ring for one in heard for ring in one.decays])
    except ValueError as problem:
        raise AnalysisError(f"{heard[0].path}: {problem}; tap the same spot again, alike") from None


def _unfold(
    joint: JointModes,
    rate: float,
    by_rate: dict[float, list[_Heard]],
    rig: Rig | None,
    flags: list[Flag],
) -> tuple[list[tuple[float, ...]], NDArray[np.float64], NDArray[np.float64]]:
    """Candidates of every mode, and natural frequencies and damping ratios as far as they are settled."""
    frequencies, damping = joint.natural_frequency.copy(), joint.damping_ratio.copy()
    other = {r: _combine(group) for r, group in by_rate.items() if r != rate}
    filtered = rig is not None and rig.anti_alias is not None and rig.anti_alias.cutoff < rate / 2
    candidates, unsettled = [], []
    for i in range(frequencies.size):
        decay = float(2 * np.pi * frequencies[i] * damping[i])
        seen = _swing(joint, i)
        folded = alias_candidates(seen[0], decay, rate)
        for second_rate, second in other.items():
            k = _same_decay(second, decay)
            agreed = resolve_by_rates(seen, rate, _swing(second, k), second_rate, decay)
            folded = [m for m in folded if any(m.zone == a.zone for a in agreed)] or folded
        candidates.append(tuple(m.natural_frequency for m in folded))
        # where several places remain the lowest is the likeliest, and the flag stays
        frequencies[i], damping[i] = folded[0].natural_frequency, folded[0].damping_ratio
        if len(folded) > 1 and not filtered:
            unsettled.append(f"{frequencies[i]:.4g} Hz")
    if unsettled:
        flags.append(flag("mode-may-be-folded", where=", ".join(unsettled)))
    return candidates, frequencies, damping


def _swing(joint: JointModes, i: int) -> tuple[float, float]:
    seen = float(joint.natural_frequency[i] * np.sqrt(1 - joint.damping_ratio[i] ** 2))
    return seen, float(joint.u_natural_frequency[i])


def _same_decay(joint: JointModes, decay: float) -> int:
    """The mode with the decay rate nearest to one given: folding does not touch it."""
    rates = 2 * np.pi * joint.natural_frequency * joint.damping_ratio
    return int(np.argmin(np.abs(np.log(rates / decay))))


def _weigh(
    loaded: str | Path | None,
    added_mass: float | None,
    u_added_mass: float,
    joint: JointModes,
    rate: float,
    channel: str | None,
    reading: Mapping[str, Any],
    n_modes: int | None,
    flags: list[Flag],
) -> MovingMass | None:
    if loaded is None or added_mass is None:
        return None
    heard = _listen(loaded, channel, reading, n_modes)
    heavy = _combine([heard])
    i, k = int(np.argmax(joint.share)), int(np.argmax(heavy.share))
    bare, with_mass = _swing(joint, i), _swing(heavy, k)
    if with_mass[0] > bare[0] and heard.trace.rate == rate:
        decay = float(2 * np.pi * joint.natural_frequency[i] * joint.damping_ratio[i])
        try:
            places = resolve_by_added_mass(bare, with_mass, decay, rate, added_mass)
        except ValueError as problem:
            raise AnalysisError(f"{loaded}: {problem}") from None
        where = ", ".join(f"{p.natural_frequency:.4g} Hz ({p.moving_mass:.3g} kg)" for p in places)
        flags.append(flag("mode-may-be-folded", f"Under added mass it rose, so it lies at {where}"))
        return None
    try:
        return find_moving_mass(
            float(joint.natural_frequency[i]),
            float(heavy.natural_frequency[k]),
            added_mass,
            u_bare=bare[1],
            u_loaded=with_mass[1],
            u_added_mass=u_added_mass,
        )
    except ValueError as problem:
        raise AnalysisError(f"{loaded}: {problem}") from None


def _modes(
    joint: JointModes,
    heard: Sequence[_Heard],
    candidates: Sequence[tuple[float, ...]],
    frequencies: NDArray[np.float64],
    damping: NDArray[np.float64],
) -> tuple[TapMode, ...]:
    decays = [ring for one in heard for ring in one.decays]
    modes = []
    for i in range(joint.natural_frequency.size):
        over = [_over_least(ring, float(joint.natural_frequency[i])) for ring in decays]
        modes.append(
            TapMode(
                Measured("natural_frequency", float(frequencies[i]), float(joint.u_natural_frequency[i])),
                Measured("damping_ratio", float(damping[i]), float(joint.u_damping_ratio[i])),
                float(joint.share[i]),
                float(joint.spread_natural_frequency[i]),
                int(joint.n_seen[i]),
                float(np.median([o for o in over if o is not None] or [np.nan])),
                candidates[i],
            )
        )
    return tuple(modes)


def _over_least(ring: RingDown, frequency: float) -> float | None:
    """Stated uncertainty over the Cramer-Rao bound for white noise of the residual's size."""
    i = int(np.argmin(np.abs(ring.natural_frequency - frequency)))
    if abs(ring.natural_frequency[i] - frequency) > 0.05 * frequency or ring.residual_sd == 0:
        return None
    bound = cramer_rao(
        ring.natural_frequency,
        ring.damping_ratio,
        ring.amplitude,
        ring.residual_sd,
        ring.rate,
        ring.n_samples,
        phase=ring.phase,
    )
    return float(ring.u_natural_frequency[i] / bound.u_natural_frequency[i])
