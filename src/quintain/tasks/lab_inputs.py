"""Everything that goes into the analysis of a recording of the lab, and the analysis itself."""

from __future__ import annotations

import platform
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, NamedTuple

from sqlalchemy import Select, and_, select
from sqlalchemy.orm import Session as Database

from quintain.domain.analysis import Analysis
from quintain.domain.history import Step
from quintain.domain.method import Method
from quintain.domain.rig import Rig
from quintain.domain.strike import ForceCurve
from quintain.errors import LabError, MissingError, RecordingError
from quintain.store import schema
from quintain.store.curves import encode_curves
from quintain.store.lab import Lab
from quintain.store.results import load_method
from quintain.version import __version__

__all__ = [
    "LAB_STEP",
    "Inputs",
    "Made",
    "Places",
    "Wanted",
    "gather",
    "inputs_of",
    "knew_clocks",
    "libraries",
    "measure_inputs",
    "places_of",
    "stale",
]

LAB_STEP = "quintain.analyse_lab"
"""Name of the last step in the history of an analysis that the lab made: it holds all that was told."""

MANY = 500
"""More recordings than these are picked here and not by the database, which takes only so many names."""

NEW, TOLD, METHOD, RIG, SOFTWARE = "new", "told", "method", "rig", "software"


@dataclass(frozen=True, slots=True)
class Inputs:
    """
    What an analysis of a recording rests on.

    Parameters
    ----------
    recording : str
        Its SHA-256.
    name : str
        The name it came with, for messages.
    method : Method
        All settings.
    rig, rig_version : str
        Text of the rig file and its version; empty without a rig.
    motion : str
        SHA-256 of the recording of the limb's motion; empty without.
    told : mapping
        What the files do not say themselves: 'reading', 'channel', 'motion_reading', 'speeds' and
        'alignment' of motion and force as typed, 'kind' of the strikes, name of the 'rig' of recording or
        session. How a sensor sits stands in the rig file.
    """

    recording: str
    name: str
    method: Method
    rig: str
    rig_version: str
    motion: str
    told: Mapping[str, Any]


class Made(NamedTuple):
    """An analysis without curves, which are apart, encoded; sent back by whoever made it."""

    analysis: Analysis
    curves: bytes


class Wanted(NamedTuple):
    """
    Inputs as they are now, and how they differ from those of the analysis in force.

    ``because`` gives, by kind ('new', 'told', 'method', 'rig', 'software'), a sentence each; it is empty
    where a new analysis would give the same bits. ``analysis_id`` is None where there is none in force.
    """

    inputs: Inputs
    because: Mapping[str, str]
    analysis_id: int | None


class Places(NamedTuple):
    """Where the bytes lie, and the settings with which they are read."""

    recording: str
    reading: Mapping[str, Any]
    motion: str
    motion_reading: Mapping[str, Any]


def places_of(lab: Lab, inputs: Inputs) -> Places:
    """
    Find the bytes of a recording and of its motion.

    Raises
    ------
    LabError
        If they are missing.
    """
    originals = lab.originals
    return Places(
        str(originals.path(inputs.recording).resolve()),
        originals.settings(inputs.told["reading"]),
        str(originals.path(inputs.motion).resolve()) if inputs.motion else "",
        originals.settings(inputs.told["motion_reading"]),
    )


def measure_inputs(inputs: Inputs, places: Places, curves: bool = True) -> Made:
    """
    Analyse a recording of the lab; runs in whatever process or machine an executor chooses.

    Parameters
    ----------
    inputs : Inputs
        What it rests on.
    places : Places
        Where the bytes lie.
    curves : bool
        Whether curves are wanted.

    Raises
    ------
    RecordingError
        If a file cannot be read, or its bytes are not those that were imported.
    AnalysisError
        If its motion cannot be used.
    """
    # here and not above: the face that only asks what is stale loads no numerical library
    from quintain.readers.registry import read
    from quintain.tasks.add_motion import kept_speeds, motion_setup
    from quintain.tasks.analyse import analyse_file
    from quintain.tasks.limb import measure_limbs
    from quintain.tasks.motion import join_motion

    began = datetime.now(UTC).isoformat(timespec="seconds")
    told = inputs.told
    rig = Rig.from_toml(inputs.rig, origin=f"rig {inputs.rig_version}") if inputs.rig else None
    analysis = analyse_file(
        places.recording,
        rig=rig,
        method=inputs.method,
        channel=told["channel"] or None,
        curves=curves or bool(inputs.motion or told["speeds"]),
        **places.reading,
    )
    _same_bytes(analysis.sha256, inputs.recording, inputs.name)
    if inputs.motion:
        motion = read(places.motion, **places.motion_reading)
        _same_bytes(motion.sha256, inputs.motion, "the motion's recording")
        stated = told["alignment"]
        setup = motion_setup(rig, normal=stated.get("normal"), track=stated.get("track"))
        joined = join_motion(analysis, motion, setup=setup, clock_offset=_clock_offset(told, places))
        analysis = measure_limbs(joined, kind=told["kind"])
    elif told["speeds"]:
        analysis = measure_limbs(join_motion(analysis, kept_speeds(told["speeds"])), kind=told["kind"])
    sources = tuple(s for s in (inputs.recording, inputs.rig_version, inputs.motion) if s)
    step = Step(
        LAB_STEP, __version__, {"told": dict(told), "with": libraries()}, sources,
        analysis.history[-1].output, began,
    )  # fmt: skip
    encoded = encode_curves(analysis.strikes) if curves else b""
    bare = tuple(replace(strike, curve=ForceCurve.nothing(), limb=None) for strike in analysis.strikes)
    history = (*analysis.history, step)
    return Made(replace(analysis, path=inputs.name, strikes=bare, history=history), encoded)


def _clock_offset(told: Mapping[str, Any], places: Places) -> tuple[float, float] | None:
    from quintain.tasks.add_motion import clock_offset_of_pulses, parse_clock_offset

    stated = told["alignment"]
    if "sync" in stated:
        return clock_offset_of_pulses(
            places.recording, places.motion, stated["sync"],
            reading=places.reading, motion_reading=places.motion_reading,
        )  # fmt: skip
    return parse_clock_offset(stated["offset"]) if "offset" in stated else None


def gather(
    lab: Lab,
    *,
    recordings: Sequence[str] | None = None,
    session: str | None = None,
    method: Method | None = None,
    rig: str | None = None,
) -> list[Wanted]:
    """
    Inputs of the lab's recordings of strikes as they are now, in order of time.

    Parameters
    ----------
    lab : Lab
        The lab.
    recordings : sequence of str, optional
        SHA-256 of those that are meant.
    session : str, optional
        Code of a session.
    method : Method, optional
        Otherwise the newest version of the one each was analysed by, or the standard one.
    rig : str, optional
        Name of a rig of the lab or a version of one, instead of the one of recording or session.

    Raises
    ------
    LabError
        If a recording, session or rig is not in the lab.
    """
    table = schema.Recording
    query = (
        select(table, schema.Analysis)
        .outerjoin(
            schema.Analysis,
            and_(schema.Analysis.recording_sha256 == table.sha256, schema.Analysis.current),
        )
        .where(table.kind == "strikes", table.gone.is_(None))
        .order_by(table.when.is_(None), table.when, table.name, table.sha256)
    )
    meant = None if recordings is None else set(recordings)
    with lab.reading() as database:
        query = _narrow(database, query, recordings, session)
        known = _Known(database, method, rig)
        found = []
        for recording, analysis in database.execute(query.execution_options(yield_per=500)):
            if meant is not None and recording.sha256 not in meant:
                continue
            inputs = known.inputs(recording, analysis)
            found.append(
                Wanted(inputs, _differences(inputs, analysis), None if analysis is None else analysis.id)
            )
    if meant is not None:
        missing = meant - {wanted.inputs.recording for wanted in found}
        if missing:
            raise MissingError(
                f"{len(missing)} recordings of strikes are not in the lab, or their bytes are gone; the "
                f"first is {min(missing)[:12]}…"
            )
    return found


def stale(lab: Lab, *, session: str | None = None) -> list[Wanted]:
    """Recordings whose analysis in force is out of date, each with the reasons."""
    return [
        wanted for wanted in gather(lab, session=session) if wanted.because and wanted.analysis_id is not None
    ]


def inputs_of(lab: Lab, analysis_id: int) -> Inputs:
    """
    What an earlier analysis rested on.

    Raises
    ------
    LabError
        If there is no such analysis, or the lab no longer holds what it rested on.
    """
    with lab.reading() as database:
        row = database.get(schema.Analysis, analysis_id)
        if row is None:
            raise MissingError(f"there is no analysis {analysis_id} in the lab")
        version = None
        if row.rig_version is not None:
            version = database.get(schema.RigVersion, row.rig_version)
            if version is None:
                raise LabError(f"the rig's version {row.rig_version} is not in the lab; run quintain doctor")
        told = _told_then(row)
        if told is None:
            told = _Known(database, None, None).told(row.recording, row.motion_sha256)
        return Inputs(
            recording=row.recording_sha256,
            name=row.recording.name,
            method=load_method(database, row.method_sha256),
            rig="" if version is None else version.toml,
            rig_version=row.rig_version or "",
            motion=row.motion_sha256 or "",
            told=told,
        )


# -- what is known now


_Query = Select[schema.Recording, schema.Analysis]
_SESSIONS = select(schema.Session.id, schema.Session.rig_id)
_RIGS = select(schema.Rig.id, schema.Rig.current)
_RIG_NAMES = select(schema.Rig.id, schema.Rig.name)
_FAMILIES = select(schema.StrikeType.name, schema.StrikeType.family)


class _Known:
    """Rigs, methods and kinds of the lab, each looked up once."""

    def __init__(self, database: Database, method: Method | None, rig: str | None) -> None:
        self._database = database
        self._method = method
        self._methods: dict[str, Method] = {}
        self._texts: dict[str, str] = {}
        self._sessions = dict(database.execute(_SESSIONS).all())
        self._versions = dict(database.execute(_RIGS).all())
        self._rigs = dict(database.execute(_RIG_NAMES).all())
        self._families = dict(database.execute(_FAMILIES).all())
        self._forced = None if rig is None else self._find_rig(rig)

    def inputs(self, recording: schema.Recording, analysis: schema.Analysis | None) -> Inputs:
        version = self._versions.get(self._rig_of(recording), "") if self._forced is None else self._forced
        return Inputs(
            recording=recording.sha256,
            name=recording.name,
            method=self._method or self._method_of(analysis),
            rig=self._text(version),
            rig_version=version,
            motion=recording.motion_sha256 or "",
            told=self.told(recording, recording.motion_sha256),
        )

    def told(self, recording: schema.Recording, motion_sha256: str | None) -> dict[str, Any]:
        motion = None if motion_sha256 is None else self._database.get(schema.Recording, motion_sha256)
        family = self._families.get(recording.type or "", "")
        return {
            "reading": dict(recording.reading),
            "channel": recording.channel,
            "motion_reading": {} if motion is None else dict(motion.reading),
            "speeds": "" if motion is not None else recording.speeds,
            "alignment": {} if motion is None else dict(recording.alignment),
            "kind": family if family in ("punch", "kick") else "any",
            "rig": self._rigs.get(self._rig_of(recording), ""),
        }

    def _rig_of(self, recording: schema.Recording) -> int:
        """Id of the rig of recording or session; 0 for none."""
        return recording.rig_id or self._sessions.get(recording.session_id or 0) or 0

    def _find_rig(self, name: str) -> str:
        if self._database.get(schema.RigVersion, name) is not None:
            return name
        version = self._database.scalar(select(schema.Rig.current).where(schema.Rig.name == name))
        if not version:
            names = ", ".join(self._database.scalars(select(schema.Rig.name).order_by(schema.Rig.name)))
            raise MissingError(f"there is no rig {name!r} in the lab; there are: {names or 'none'}")
        return version

    def _text(self, version: str) -> str:
        if version and version not in self._texts:
            row = self._database.get(schema.RigVersion, version)
            if row is None:
                raise LabError(f"the rig's version {version} is not in the lab; run quintain doctor")
            self._texts[version] = row.toml
        return self._texts.get(version, "")

    def _method_of(self, analysis: schema.Analysis | None) -> Method:
        """The newest version of the method it was analysed by; of two with one number the one used."""
        if analysis is None:
            return Method()
        sha256 = analysis.method_sha256
        if sha256 not in self._methods:
            used = self._database.get_one(schema.Method, sha256)
            newest = self._database.scalar(
                select(schema.Method.sha256)
                .where(schema.Method.name == used.name, schema.Method.version > used.version)
                .order_by(schema.Method.version.desc(), schema.Method.added.desc())
                .limit(1)
            )
            self._methods[sha256] = load_method(self._database, newest or sha256)
        return self._methods[sha256]


def _narrow(
    database: Database, query: _Query, recordings: Sequence[str] | None, session: str | None
) -> _Query:
    if session is not None:
        session_id = database.scalar(select(schema.Session.id).where(schema.Session.code == session))
        if session_id is None:
            raise MissingError(f"there is no session {session!r} in the lab")
        query = query.where(schema.Recording.session_id == session_id)
    if recordings is None or len(recordings) > MANY:
        return query
    return query.where(schema.Recording.sha256.in_(recordings))


# -- what differs


def _differences(inputs: Inputs, analysis: schema.Analysis | None) -> dict[str, str]:
    if analysis is None:
        return {NEW: "it has not been analysed yet"}
    because = {}
    then = _told_then(analysis)
    now = inputs.told
    changed = [] if then is None else [key for key in now if now[key] != then.get(key, now[key])]
    if (analysis.motion_sha256 or "") != inputs.motion:
        changed.insert(0, "motion")
    if changed:
        because[TOLD] = f"what is stated of it changed: {', '.join(_WORDS[key] for key in changed)}"
    if analysis.method_sha256 != inputs.method.sha256:
        because[METHOD] = (
            f"the method is now {inputs.method.name!r}, version {inputs.method.version} "
            f"({inputs.method.sha256[:12]}), it was {analysis.method_sha256[:12]}"
        )
    if (analysis.rig_version or "") != inputs.rig_version:
        because[RIG] = (
            f"the rig's version is now {inputs.rig_version or 'none'}, it was "
            f"{analysis.rig_version or 'none'}"
        )
    if _is_older(analysis.quintain, __version__):
        because[SOFTWARE] = f"it was made by quintain {analysis.quintain}, this is {__version__}"
    return because


_WORDS = {
    "motion": "the recording of the motion",
    "reading": "how its file is read",
    "channel": "the channel",
    "motion_reading": "how the motion's file is read",
    "speeds": "the stated speeds",
    "alignment": "how motion and force belong together",
    "kind": "the kind of its strikes",
    "rig": "the rig",
}


def knew_clocks(analysis: schema.Analysis) -> bool:
    """Whether an analysis was made by a version that kept how the clocks of motion and force were tied."""
    told = [step["settings"]["told"] for step in analysis.history if step["function"] == LAB_STEP]
    return bool(told) and "alignment" in told[-1]


def _told_then(analysis: schema.Analysis) -> dict[str, Any] | None:
    for step in reversed(analysis.history):
        if step["function"] == LAB_STEP:
            return {
                "alignment": {},
                **step["settings"]["told"],
            }  # earlier versions knew of none, nor of "rig"
    return None


def _is_older(version: str, than: str) -> bool:
    def numbers(text: str) -> Iterator[tuple[int, str]]:
        for part in text.split("."):
            yield (int(part), "") if part.isdigit() else (-1, part)

    return list(numbers(version)) < list(numbers(than))


def _same_bytes(found: str, expected: str, name: str) -> None:
    if found != expected:
        raise RecordingError(
            f"{name}: the lab's copy is not what was imported (expected {expected[:12]}…, got "
            f"{found[:12]}…). Restore it from a copy of the lab or the file it came from; see quintain doctor"
        )


def libraries() -> dict[str, str]:
    """Versions and machine that decide about the last bits of a number."""
    import numba
    import numpy
    import scipy

    return {
        "quintain": __version__,
        "python": platform.python_version(),
        "numpy": numpy.__version__,
        "scipy": scipy.__version__,
        "numba": numba.__version__,
        "machine": platform.machine(),
        "system": platform.system(),
    }
