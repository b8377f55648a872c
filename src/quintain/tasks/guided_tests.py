"""A tap test or drop test of a rig of the lab, tried first and then entered into its log or let go."""

from __future__ import annotations

import dataclasses
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from quintain.domain.as_json import drops_as_json, taps_as_json
from quintain.domain.drop import DropSettings, DropTest
from quintain.domain.rig import Rig
from quintain.domain.tap import TapTest
from quintain.errors import LabError, UsageError
from quintain.report.drops_report import drop_sections, drop_verdict
from quintain.report.tap_report import tap_sections, tap_verdict
from quintain.report.verdict import Verdict
from quintain.store.lab import Lab
from quintain.tasks.arrivals import Arrival, arrival_of, forget_arrival
from quintain.tasks.drop_record import record_drops
from quintain.tasks.drops import analyse_drops_file
from quintain.tasks.evidence_time import evidence_time
from quintain.tasks.lab_rigs import rig_of, rig_on_paper
from quintain.tasks.tap import record_taps, tap_files
from quintain.version import __version__

__all__ = ["KINDS", "TestAsked", "Tried", "enter_test", "tried_test", "try_test"]

KINDS = ("tap", "drops")


@dataclass(frozen=True, slots=True)
class TestAsked:
    """
    What is known of a test beside its recordings.

    ``drops`` holds the settings of a drop test, by their names there; ``pad`` is the pad's name, and
    ``n_modes`` the number of modes of a tap test, chosen if None. ``when`` is the time of the test as
    2026-05-04T14:30:00+00:00, as its recording says or now if empty.
    """

    __test__ = False  # no test of ours, whatever its name says to pytest

    kind: str
    rig: str
    drops: Mapping[str, Any]
    pad: str = ""
    n_modes: int | None = None
    when: str = ""

    def time(self) -> datetime | None:
        """The time that was told, if one was."""
        return datetime.fromisoformat(self.when) if self.when else None

    def settings(self) -> DropSettings:
        """
        Settings of a drop test.

        Raises
        ------
        UsageError
            If a number is absurd.
        """
        return DropSettings(**{**self.drops, "heights": tuple(self.drops.get("heights", ()))})


@dataclass(frozen=True, slots=True)
class Tried:
    """
    What a test said: its verdict, its sections as in a report, and when it was made.

    ``when`` is empty where neither its maker nor its recording says; it is now then.
    """

    asked: TestAsked
    judged: Verdict
    sections: list[dict[str, Any]]
    when: str


def try_test(lab: Lab, code: str, asked: TestAsked) -> Tried:
    """
    Make a test of files that wait, and keep what it said beside them; the lab is not changed.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        Of the files, see :mod:`quintain.tasks.arrivals`.
    asked : TestAsked
        What is known beside them.

    Raises
    ------
    LabError
        If the files or the rig are not there.
    UsageError
        If a number is absurd, the number of files is wrong, or the time cannot be.
    RecordingError, AnalysisError
        If a file cannot be read, or nothing can be said from it.
    """
    arrival = arrival_of(lab, code)
    rig = rig_of(lab, asked.rig)
    if asked.kind == "tap":
        taps = _taps(arrival, asked, rig)
        sections, judged, started = tap_sections(taps), tap_verdict(taps), taps.started
    else:
        drops = _drops(arrival, asked, rig)
        sections, judged, started = drop_sections(drops), drop_verdict(drops), drops.started
    at = evidence_time(asked.time(), started)
    when = at.isoformat() if asked.when or started else ""
    tried = Tried(asked, judged, [dataclasses.asdict(section) for section in sections], when)
    part = arrival.folder / "tried.json.part"
    part.write_text(json.dumps(dataclasses.asdict(tried), default=list), encoding="utf-8")
    os.replace(part, arrival.folder / "tried.json")
    return tried


def tried_test(lab: Lab, code: str) -> Tried:
    """
    What :func:`try_test` said of files that still wait.

    Raises
    ------
    LabError
        If they were entered or let go meanwhile.
    """
    arrival = arrival_of(lab, code)
    try:
        told = json.loads((arrival.folder / "tried.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise LabError("this test was not finished; make it again from its recording") from None
    return Tried(TestAsked(**told["asked"]), Verdict(**told["judged"]), told["sections"], told["when"])


def enter_test(lab: Lab, code: str, *, who: str) -> None:
    """
    Make the test again on the rig as it now is, and enter it into the rig's log with its recordings.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        Of files for which :func:`try_test` was called.
    who : str
        In whose name.

    Raises
    ------
    LabError
        If the files are gone, or cannot be taken into the lab; nothing is entered then.
    ConflictError
        If somebody changed the rig meanwhile.
    """
    arrival, asked = arrival_of(lab, code), tried_test(lab, code).asked
    told = arrival.told
    with rig_on_paper(
        lab, asked.rig, kind=asked.kind, recordings=arrival.files, reading=told.reading(),
        channel=told.channel or None, who=who,
    ) as paper:  # fmt: skip
        rig = Rig.load(paper.path)
        if asked.kind == "tap":
            taps = _taps(arrival, asked, rig)
            record_taps(taps, paper.path, when=asked.time())
            paper.answer = taps_as_json(taps, version=__version__)
        else:
            drops = _drops(arrival, asked, rig)
            record_drops(drops, paper.path, pad=asked.pad, when=asked.time())
            paper.answer = drops_as_json(drops, version=__version__)
    forget_arrival(lab, code)


def _taps(arrival: Arrival, asked: TestAsked, rig: Rig) -> TapTest:
    test = tap_files(
        arrival.files, rig=rig, channel=arrival.told.channel or None, n_modes=asked.n_modes,
        **arrival.told.reading(),
    )  # fmt: skip
    return dataclasses.replace(
        test,
        inputs=tuple((_name(path), sha256) for path, sha256 in test.inputs),
        taps=tuple(dataclasses.replace(tap, path=_name(tap.path)) for tap in test.taps),
    )


def _drops(arrival: Arrival, asked: TestAsked, rig: Rig) -> DropTest:
    if len(arrival.files) != 1:
        raise UsageError(f"expected one recording with all drops, got {len(arrival.files)} files")
    test = analyse_drops_file(
        arrival.files[0], asked.settings(), rig=rig, channel=arrival.told.channel or None,
        **arrival.told.reading(),
    )  # fmt: skip
    return dataclasses.replace(test, path=_name(test.path))


def _name(path: str | Path) -> str:
    """Name of a file that lies in a place of ours."""
    return Path(path).name
