"""Enter a drop test into a rig's log, and into its file where it proved something."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from quintain.domain.drop import Drop, DropTest
from quintain.domain.measured import Measured
from quintain.domain.rig import Rig
from quintain.domain.rig_log import LogEntry
from quintain.errors import AnalysisError
from quintain.tasks.evidence_time import evidence_time
from quintain.tasks.rig_file import Change, append_log, has_newer, update_rig
from quintain.version import __version__

__all__ = ["record_drops"]


def record_drops(test: DropTest, rig_path: str | Path, *, pad: str = "", when: datetime | None = None) -> Rig:
    """
    Write a drop test into the rig's log; after a pass also gain, range and pad into its file.

    A test older than another in the log goes into the log alone: the file keeps what the newer one told.

    Parameters
    ----------
    test : DropTest
        Finished drop test, made with the rig as its file now is.
    rig_path : path
        The rig file.
    pad : str, optional
        Name of the pad that was dropped on; the one in use if not given, 'pad' if the rig names none.
    when : datetime.datetime, optional
        When the drops were made, with its offset from UTC; as their recording says if not given, or now.

    Returns
    -------
    Rig
        The rig as it now is.

    Raises
    ------
    AnalysisError
        If the test was made with another version of the rig.
    UsageError
        If the time lies in the future or cannot be, see :func:`~quintain.tasks.evidence_time.evidence_time`.
    RigFileError, OutputError
        As :func:`~quintain.tasks.rig_file.update_rig`.
    """
    rig = Rig.load(rig_path)
    if test.rig is None or test.rig.version != rig.version:
        raise AnalysisError(f"{rig_path}: the drops were analysed with another rig file; analyse them anew")
    values = dict(test.quantities)
    middle = _middle_drop(test)
    for name in ("restitution", "pad_stiffness", "pad_loss_fraction"):
        measured = _of(middle, name)
        if measured is not None:
            values[name] = measured
    changes: dict[str, Change] = {}
    at = evidence_time(when, test.started)
    proves = test.verdict == "pass" and not has_newer(rig_path, "drops", at)
    gain = test.quantities.get("gain") or test.quantities.get("gain_without_height")
    if proves and gain is not None and gain.u is not None:
        peaks = [
            drop.quantities["peak_force"].value for drop in test.drops if "peak_force" in drop.quantities
        ]
        changes["calibration"] = {
            "gain": round(rig.calibration.gain * gain.value, 6),
            "u_gain": round(gain.u / gain.value, 6),
            **({"highest": round(max(peaks), 1)} if peaks else {}),
        }
    law = _law(middle, at, pad or rig.pad or "pad")
    if proves and law is not None:
        kept = [_as_table(p) for p in rig.pads if p.name != law["name"]]
        changes |= {"pad": law["name"], "pads": [*kept, law]}
    if changes:
        rig = update_rig(rig_path, changes)
    append_log(
        rig_path, LogEntry(at, "drops", rig.version, (test.sha256,), values, test.verdict, __version__)
    )
    return rig


def _middle_drop(test: DropTest) -> Drop | None:
    """The drop of middle speed: restitution and stiffness change with speed, so always ask the same one."""
    known = [drop for drop in test.drops if drop.pad is not None and "approach_speed" in drop.quantities]
    known.sort(key=lambda drop: drop.quantities["approach_speed"].value)
    return known[len(known) // 2] if known else None


def _of(drop: Drop | None, name: str) -> Measured | None:
    if drop is None:
        return None
    return drop.quantities.get(name) or (drop.pad.quantities.get(name) if drop.pad else None)


def _law(drop: Drop | None, when: datetime, name: str) -> Mapping[str, Any] | None:
    """The pad's law from the drop of middle speed, as a table of the rig file."""
    exponent, compression = _of(drop, "pad_exponent"), _of(drop, "pad_compression")
    secant, bottoming = _of(drop, "pad_stiffness"), _of(drop, "pad_bottoming_at")
    loss = _of(drop, "pad_loss_fraction")
    if exponent is None or compression is None or secant is None:
        return None
    # the secant is taken at half the largest compression: F = k x^n there gives k
    half = compression.value / 2
    return {
        "name": name,
        "stiffness": float(f"{secant.value * half ** (1 - exponent.value):.5g}"),
        "exponent": round(exponent.value, 4),
        "bottoming": None if bottoming is None else round(bottoming.value, 5),
        "loss_fraction": None if loss is None else round(min(max(loss.value, 0.0), 1.0), 4),
        "proved_to": round(compression.value, 5),
        "date": when.date(),
    }


def _as_table(pad: Any) -> dict[str, Any]:
    return {name: getattr(pad, name) for name in pad.__slots__}
