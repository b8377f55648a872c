"""Tidy tables of a lab: one row a strike, a person, a session, a recording, a method; nobody is named."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np
from sqlalchemy import select

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.store.export.fields import Field, Table, quantity_fields
from quintain.store.lab import Lab
from quintain.store.queries import matching_strikes
from quintain.store.queries_columns import StrikeColumns
from quintain.store.queries_filter import StrikeFilter
from quintain.store.queries_fresh import strike_columns
from quintain.store.schema import (
    Analysis,
    Method,
    Person,
    Recording,
    Result,
    Rig,
    RigVersion,
    Session,
    Strike,
)

__all__ = [
    "methods_table",
    "people_table",
    "recordings_table",
    "rigs_table",
    "sessions_table",
    "strikes_table",
]

_PRACTICE = "common practice, no source"

_STRIKE = (
    Field("strike", "integer", "Strike", "Number of the strike in the lab."),
    Field("session", "text", "Session", "Code of its session; see the table of sessions."),
    Field("position", "integer", "Place", "Place in the session; in the recording if there is no session."),
    Field("person", "text", "Person", "Code of the person; see the table of people."),
    Field("type", "text", "Type of strike", "Kind of strike as tagged."),
    Field("side", "text", "Side", "Side that struck as tagged: 'left', 'right' or empty."),
    Field("series", "integer", "Series", "Number of the series in the session, from 1."),
    Field("state", "text", "State", "'waiting', 'accepted', 'rejected', or 'gone': no longer found."),
    Field("reason", "text", "Reason", "Why it was rejected."),
    Field("flags", "text", "Flags", "Codes of doubts, a blank between; the documentation explains them."),
    Field("when", "time", "Time", "Instant of contact where the recording tells it, else of the session."),
    Field("start", "number", "Start of contact", "On the clock of the recording.", "s", _PRACTICE),
    Field("recording", "text", "Recording", "SHA-256 of the original bytes."),
    Field("number", "integer", "Number", "Place in the recording by the analysis in force, from 1."),
    Field("rig", "text", "Rig", "Name of the rig."),
    Field("rig_version", "text", "Version of the rig", "SHA-256 of the rig file as it was."),
    Field("method", "text", "Method", "SHA-256 of the settings of the analysis; see the table of methods."),
    Field("quintain", "text", "Software", "Version of Quintain that computed the result."),
    Field("output", "text", "Output", "SHA-256 of what the analysis of the recording gave."),
)

_WORDS = {"flags": "codes"} | {
    name: name for name in ("type", "side", "state", "reason", "note", "recording", "method")
}

_NOTE = Field("note", "text", "Note", "What people wrote of the strike; it may identify somebody.")


def strikes_table(
    lab: Lab, chosen: StrikeFilter | None = None, *, shown: bool = False, notes: bool = False
) -> Table:
    """
    One row a strike, with its result in force.

    Parameters
    ----------
    lab : Lab
        The lab.
    chosen : StrikeFilter, optional
        Which strikes; all that are not gone if left out.
    shown : bool
        Quantities in the units people read instead of SI.
    notes : bool
        With free notes, which may identify somebody.
    """
    ids = np.array(matching_strikes(lab, chosen), dtype=np.int64)
    columns = strike_columns(lab)
    rows = np.searchsorted(columns["id"], ids)
    made = _provenance(lab, columns, rows)
    table: dict[str, Sequence[Any]] = {
        "strike": ids.tolist(),
        "session": _names(columns["session_id"][rows], columns.names.sessions),
        "position": columns["position"][rows].tolist(),
        "person": _names(columns["person_id"][rows], columns.names.people),
        "series": _whole(columns["series"][rows]),
        "when": [_time(t) for t in columns.when()[rows].tolist()],
        "start": columns["start"][rows].tolist(),
        "rig": _names(columns["rig_id"][rows], columns.names.rigs),
        **made,
    }
    for name, column in _WORDS.items():
        words = columns.words[column]
        table[name] = [words[i] for i in columns[column][rows].tolist()]
    fields = _STRIKE + ((_NOTE,) if notes else ())
    for name in STRIKE_QUANTITIES:
        fields += quantity_fields(name, shown=shown)
        for column in (name, f"u_{name}"):
            table[column] = [None if v != v else v for v in columns[column][rows].tolist()]
    return Table("strikes", "One row a strike", fields, {f.name: table[f.name] for f in fields})


def _provenance(lab: Lab, columns: StrikeColumns, rows: Any) -> dict[str, list[Any]]:
    """Number in the recording and what the analysis in force was made with."""
    place = {id: i for i, id in enumerate(columns["id"][rows].tolist())}
    out: dict[str, list[Any]] = {"number": [None] * len(place)}
    out |= {name: [""] * len(place) for name in ("rig_version", "quintain", "output")}
    with lab.reading() as database:
        analyses = {
            row.id: row
            for row in database.execute(
                select(Analysis.id, Analysis.rig_version, Analysis.quintain, Analysis.output)
            )
        }
        statement = (
            select(Strike.id, Result.number, Result.analysis_id)
            .join(Result, Result.id == Strike.result_id)
            .execution_options(yield_per=20_000)
        )
        for id, number, analysis_id in database.connection().execute(statement):
            at = place.get(id)
            if at is not None:
                out["number"][at] = number
                for name in ("rig_version", "quintain", "output"):
                    out[name][at] = getattr(analyses[analysis_id], name) or ""
    return out


def people_table(lab: Lab) -> Table:
    """People by their codes; never what identifies them."""
    fields = (
        Field("person", "text", "Person", "Code of the person."),
        Field("body_mass", "number", "Body mass", "As stated.", "kg"),
        Field("height", "number", "Height", "As stated.", "m"),
        Field("side", "text", "Stronger side", "'left', 'right' or empty, as stated."),
        Field("experience", "number", "Experience", "Years of training, as stated.", "a"),
    )
    with lab.reading() as database:
        people = database.scalars(select(Person).order_by(Person.code)).all()
    return _table("people", "People by their codes", fields, [
        (p.code, p.body_mass, p.height, p.side, p.experience) for p in people
    ])  # fmt: skip


def sessions_table(lab: Lab) -> Table:
    """Sessions with their plans."""
    fields = (
        Field("session", "text", "Session", "Code of the session."),
        Field("title", "text", "Title", "Its title."),
        Field("when", "time", "Time", "When it began."),
        Field("rig", "text", "Rig", "Rig that was struck."),
        Field("seed", "integer", "Seed", "Of the randomised order of its plan."),
        Field("plan", "text", "Plan", "Blocks as they were asked for, as JSON."),
    )
    with lab.reading() as database:
        rows = database.execute(
            select(Session, Rig.name).outerjoin(Rig, Rig.id == Session.rig_id).order_by(Session.code)
        ).all()
    return _table("sessions", "Sessions", fields, [
        (s.code, s.title, s.when, rig or "", s.seed, _json(s.plan)) for s, rig in rows
    ])  # fmt: skip


def recordings_table(lab: Lab) -> Table:
    """Recordings by their hashes; file names are left out, since they may identify somebody."""
    fields = (
        Field("recording", "text", "Recording", "SHA-256 of the original bytes."),
        Field("bytes", "integer", "Size", "Number of bytes.", "B"),
        Field("kind", "text", "Kind", "'strikes', 'motion', 'taps', 'drops', 'zero' or 'loads'."),
        Field("format", "text", "Format", "Format of the file."),
        Field("when", "time", "Time", "When it was recorded, as the file or the lab states."),
        Field("duration", "number", "Duration", "From the first sample to the last.", "s"),
        Field("rate", "number", "Sampling rate", "Samples a second.", "Hz"),
        Field("channel", "text", "Channel", "Channel that was analysed."),
        Field("session", "text", "Session", "Code of its session."),
        Field("rig", "text", "Rig", "Rig that was struck, as the recording states."),
        Field("person", "text", "Person", "Who struck, where one person did."),
        Field("type", "text", "Type of strike", "Where one recording holds strikes of one type."),
        Field("side", "text", "Side", "Where one recording holds strikes of one side."),
        Field("motion", "text", "Motion", "SHA-256 of the recording of the limb's motion."),
        Field("speeds", "text", "Speeds", "Approach speeds in m/s as typed, or a table, where no motion is."),
        Field("alignment", "text", "Alignment", "How motion and force belong together, as typed; JSON."),
        Field("reading", "text", "Reading", "What the reader was told, as JSON."),
    )
    people, sessions, rigs, _ = strike_columns(lab).names
    with lab.reading() as database:
        recordings = database.scalars(select(Recording).order_by(Recording.sha256)).all()
    return _table("recordings", "Recordings", fields, [
        (r.sha256, r.n_bytes, r.kind, r.format, r.when, r.duration, r.rate, r.channel,
         sessions.get(r.session_id or 0, ""), rigs.get(r.rig_id or 0, ""), people.get(r.person_id or 0, ""),
         r.type or "", r.side, r.motion_sha256 or "", r.speeds, _json(r.alignment), _json(r.reading))
        for r in recordings
    ])  # fmt: skip


def methods_table(lab: Lab) -> Table:
    """All settings of every analysis."""
    fields = (
        Field("method", "text", "Method", "SHA-256 of its settings."),
        Field("name", "text", "Name", "Name of the method."),
        Field("version", "integer", "Version", "Its version."),
        Field("settings", "text", "Settings", "All of them, defaults too, as JSON."),
    )
    with lab.reading() as database:
        methods = database.scalars(select(Method).order_by(Method.sha256)).all()
    return _table("methods", "Methods", fields, [
        (m.sha256, m.name, m.version, _json(m.settings)) for m in methods
    ])  # fmt: skip


def rigs_table(lab: Lab) -> Table:
    """Every version of every rig."""
    fields = (
        Field("rig", "text", "Rig", "Name of the rig."),
        Field("rig_version", "text", "Version", "SHA-256 of the rig file."),
        Field("added", "time", "Added", "When this version came into the lab."),
        Field("file", "text", "Rig file", "The file itself, as TOML."),
    )
    with lab.reading() as database:
        rows = database.execute(
            select(Rig.name, RigVersion)
            .join(Rig, Rig.id == RigVersion.rig_id)
            .order_by(Rig.name, RigVersion.added, RigVersion.version)
        ).all()
    return _table("rigs", "Rigs and their versions", fields, [
        (name, v.version, v.added, v.toml) for name, v in rows
    ])  # fmt: skip


def _table(name: str, title: str, fields: tuple[Field, ...], rows: Sequence[tuple[Any, ...]]) -> Table:
    columns = zip(*rows, strict=True) if rows else ((),) * len(fields)
    return Table(name, title, fields, {f.name: list(c) for f, c in zip(fields, columns, strict=True)})


def _names(keys: Any, names: dict[int, str]) -> list[str]:
    return [names.get(key, "") for key in keys.tolist()]


def _whole(keys: Any) -> list[int | None]:
    return [None if key < 0 else key for key in keys.tolist()]


def _time(seconds: float) -> datetime | None:
    return None if seconds != seconds else datetime.fromtimestamp(seconds, UTC)


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True) if value else ""
