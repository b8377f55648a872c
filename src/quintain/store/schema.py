"""
The tables of a lab.

One class a table. What was measured is never changed: a recording and a result are added and stay; a
strike's tags and state may change, and every change is in the audit. Times are UTC.

A change here needs a migration beside it: ``python -m bench.draft_migration WORD`` drafts one, and
tests hold that migrations and tables say the same.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    CheckConstraint,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from quintain.domain.as_json import STRIKE_QUANTITIES

__all__ = [
    "Analysis",
    "Audit",
    "Base",
    "Evidence",
    "Identity",
    "Job",
    "LabFacts",
    "Method",
    "Person",
    "Planned",
    "Recording",
    "Result",
    "Rig",
    "RigVersion",
    "Session",
    "Source",
    "Strike",
    "StrikeChange",
    "StrikeType",
    "Study",
    "utc_now",
]


def utc_now() -> datetime:
    """Now, with its offset from UTC."""
    return datetime.now(UTC)


class Utc(TypeDecorator[datetime]):
    """A time with its offset, kept as UTC; SQLite has no type for it."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time in the lab must state its offset from UTC")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


Sha256 = String(64)


class Base(DeclarativeBase):
    """Names of constraints follow one rule, so that migrations can find them."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


class LabFacts(Base):
    """What the lab is; one row."""

    __tablename__ = "lab"

    id: Mapped[int] = mapped_column(primary_key=True)
    uuid: Mapped[str] = mapped_column(String(36))
    name: Mapped[str] = mapped_column(String(200))
    invented: Mapped[bool] = mapped_column(Boolean, default=False)
    created: Mapped[datetime] = mapped_column(Utc, default=utc_now)


# -- people


class Person(Base):
    """
    Somebody who strikes, known by a code alone.

    [kg], [m]; what is not stated is null.
    """

    __tablename__ = "person"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(String(40), unique=True)
    body_mass: Mapped[float | None] = mapped_column(Float)
    height: Mapped[float | None] = mapped_column(Float)
    side: Mapped[str] = mapped_column(String(10), default="")
    """The stronger side: 'left', 'right' or empty."""
    experience: Mapped[float | None] = mapped_column(Float)
    """Years of training."""
    note: Mapped[str] = mapped_column(Text, default="")
    added: Mapped[datetime] = mapped_column(Utc, default=utc_now)
    erased: Mapped[datetime | None] = mapped_column(Utc)
    changes: Mapped[int] = mapped_column(Integer, default=0)
    """Counts changes, so that two people who edit at once notice each other."""

    identity: Mapped[Identity | None] = relationship(back_populates="person")


class Identity(Base):
    """What identifies a person; apart, optional, and erased on request."""

    __tablename__ = "identity"

    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), primary_key=True)
    name: Mapped[str] = mapped_column(String(200), default="")
    contact: Mapped[str] = mapped_column(String(300), default="")
    born: Mapped[str] = mapped_column(String(10), default="")
    note: Mapped[str] = mapped_column(Text, default="")

    person: Mapped[Person] = relationship(back_populates="identity")


class StrikeType(Base):
    """A kind of strike; those of the trade come with every lab, others are the lab's own."""

    __tablename__ = "strike_type"

    name: Mapped[str] = mapped_column(String(60), primary_key=True)
    family: Mapped[str] = mapped_column(String(20), default="other")
    """'punch', 'kick', 'elbow', 'palm', 'knee', 'stick' or 'other'."""
    own: Mapped[bool] = mapped_column(Boolean, default=True)


# -- rigs and methods


class Rig(Base):
    """A rig; its state on a day is a version."""

    __tablename__ = "rig"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200), unique=True)
    current: Mapped[str] = mapped_column(Sha256, default="")
    """The version in use."""
    added: Mapped[datetime] = mapped_column(Utc, default=utc_now)

    versions: Mapped[list[RigVersion]] = relationship(back_populates="rig", order_by="RigVersion.added")


class RigVersion(Base):
    """The text of a rig file as it was; ``version`` is its hash."""

    __tablename__ = "rig_version"

    version: Mapped[str] = mapped_column(Sha256, primary_key=True)
    rig_id: Mapped[int] = mapped_column(ForeignKey("rig.id"), index=True)
    toml: Mapped[str] = mapped_column(Text)
    added: Mapped[datetime] = mapped_column(Utc, default=utc_now)

    rig: Mapped[Rig] = relationship(back_populates="versions")


class Evidence(Base):
    """A tap test, drop test, zero or calibration that speaks for a rig."""

    __tablename__ = "evidence"

    id: Mapped[int] = mapped_column(primary_key=True)
    rig_id: Mapped[int] = mapped_column(ForeignKey("rig.id"), index=True)
    rig_version: Mapped[str] = mapped_column(Sha256, default="")
    kind: Mapped[str] = mapped_column(String(20))
    when: Mapped[datetime] = mapped_column(Utc)
    inputs: Mapped[list[str]] = mapped_column(JSON, default=list)
    """SHA-256 of the recordings it rests on."""
    values: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)
    """By glossary name: {"value", "u", "unit"}."""
    verdict: Mapped[str] = mapped_column(String(20), default="")
    answer: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)
    """The whole answer of the command, as its JSON."""
    quintain: Mapped[str] = mapped_column(String(40), default="")


class Method(Base):
    """All settings of an analysis under their hash."""

    __tablename__ = "method"

    sha256: Mapped[str] = mapped_column(Sha256, primary_key=True)
    name: Mapped[str] = mapped_column(String(100))
    version: Mapped[int] = mapped_column(Integer, default=1)
    settings: Mapped[dict[str, Any]] = mapped_column(JSON)
    added: Mapped[datetime] = mapped_column(Utc, default=utc_now)


# -- sessions and recordings


class Session(Base):
    """People strike one rig on a day by a plan."""

    __tablename__ = "session"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(String(60), unique=True)
    title: Mapped[str] = mapped_column(String(200), default="")
    when: Mapped[datetime | None] = mapped_column(Utc, index=True)
    rig_id: Mapped[int | None] = mapped_column(ForeignKey("rig.id"), index=True)
    seed: Mapped[int | None] = mapped_column(BigInteger)
    """Of the randomised order of its plan."""
    plan: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)
    """Blocks as they were asked for."""
    note: Mapped[str] = mapped_column(Text, default="")
    added: Mapped[datetime] = mapped_column(Utc, default=utc_now)
    changes: Mapped[int] = mapped_column(Integer, default=0)

    rig: Mapped[Rig | None] = relationship()


class Planned(Base):
    """One strike of a session's plan, in the order in which it is asked for."""

    __tablename__ = "planned"
    __table_args__ = (UniqueConstraint("session_id", "position"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("session.id"))
    position: Mapped[int] = mapped_column(Integer)
    block: Mapped[int] = mapped_column(Integer, default=1)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    type: Mapped[str] = mapped_column(ForeignKey("strike_type.name"))
    side: Mapped[str] = mapped_column(String(10), default="")
    rest: Mapped[float | None] = mapped_column(Float)
    """Rest before the strike. [s]"""


class Recording(Base):
    """
    A recording: bytes that were stored once, under their hash, and never change.

    ``reading`` holds what the file does not say itself and the reader must be told.
    """

    __tablename__ = "recording"

    sha256: Mapped[str] = mapped_column(Sha256, primary_key=True)
    name: Mapped[str] = mapped_column(String(300))
    n_bytes: Mapped[int] = mapped_column(BigInteger, index=True)
    kind: Mapped[str] = mapped_column(String(20), default="strikes")
    """'strikes', 'motion', 'taps', 'drops', 'zero' or 'loads'."""
    format: Mapped[str] = mapped_column(String(40), default="")
    when: Mapped[datetime | None] = mapped_column(Utc, index=True)
    duration: Mapped[float | None] = mapped_column(Float)
    rate: Mapped[float | None] = mapped_column(Float)
    reading: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)
    channel: Mapped[str] = mapped_column(String(200), default="")
    session_id: Mapped[int | None] = mapped_column(ForeignKey("session.id"), index=True)
    rig_id: Mapped[int | None] = mapped_column(ForeignKey("rig.id"), index=True)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"), index=True)
    type: Mapped[str | None] = mapped_column(ForeignKey("strike_type.name"))
    side: Mapped[str] = mapped_column(String(10), default="")
    """Who, what and which side, where one recording holds strikes of one kind."""
    trial: Mapped[int | None] = mapped_column(Integer)
    """Which of several recordings of the same, where its name or a table told."""
    motion_sha256: Mapped[str | None] = mapped_column(ForeignKey("recording.sha256"), index=True)
    """The motion of the limb that belongs to it."""
    speeds: Mapped[str] = mapped_column(Text, default="")
    """Approach speeds where no motion was recorded: as typed, or the text of a table of them."""
    alignment: Mapped[dict[str, str]] = mapped_column(JSON, default=dict)
    """How the motion belongs to the force, as typed: 'offset' or 'sync' of the clocks, 'track', 'normal'."""
    imported: Mapped[datetime] = mapped_column(Utc, default=utc_now)
    gone: Mapped[datetime | None] = mapped_column(Utc)
    """When its bytes were erased or found missing."""
    changes: Mapped[int] = mapped_column(Integer, default=0)
    """Counts changes of what is stated of it."""

    session: Mapped[Session | None] = relationship()


class Source(Base):
    """Where the bytes of a recording came from; the same bytes may come again."""

    __tablename__ = "source"

    id: Mapped[int] = mapped_column(primary_key=True)
    recording_sha256: Mapped[str] = mapped_column(ForeignKey("recording.sha256"), index=True)
    path: Mapped[str] = mapped_column(Text)
    who: Mapped[str] = mapped_column(String(100), default="")
    at: Mapped[datetime] = mapped_column(Utc, default=utc_now)


# -- strikes and results


class Strike(Base):
    """
    A strike in a recording, with what people say of it.

    It outlives analyses: a new one finds it again by its start.
    """

    __tablename__ = "strike"
    __table_args__ = (
        Index(None, "session_id", "position"),
        Index(None, "person_id", "type"),
        CheckConstraint("state in ('waiting', 'accepted', 'rejected', 'gone')", name="state"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    recording_sha256: Mapped[str] = mapped_column(ForeignKey("recording.sha256"), index=True)
    session_id: Mapped[int | None] = mapped_column(ForeignKey("session.id"))
    position: Mapped[int] = mapped_column(Integer)
    """Place in the session, or in the recording where there is no session."""
    start: Mapped[float] = mapped_column(Float)
    """On the clock of the recording. [s]"""
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    type: Mapped[str | None] = mapped_column(ForeignKey("strike_type.name"))
    side: Mapped[str] = mapped_column(String(10), default="")
    series: Mapped[int | None] = mapped_column(Integer)
    planned_id: Mapped[int | None] = mapped_column(ForeignKey("planned.id"))
    state: Mapped[str] = mapped_column(String(10), default="waiting")
    """'gone' where the newest analysis no longer finds it."""
    reason: Mapped[str] = mapped_column(Text, default="")
    note: Mapped[str] = mapped_column(Text, default="")
    changes: Mapped[int] = mapped_column(Integer, default=0)
    result_id: Mapped[int | None] = mapped_column(ForeignKey("result.id", use_alter=True), index=True)
    """The result in force; earlier ones stay."""

    result: Mapped[Result | None] = relationship(foreign_keys=[result_id])
    person: Mapped[Person | None] = relationship()
    recording: Mapped[Recording] = relationship()
    session: Mapped[Session | None] = relationship()


class StrikeChange(Base):
    """
    A strike that was added, changed or taken away, in the order in which that became visible.

    Triggers of the database write it, whoever writes: copies of the strikes in memory and in the cache
    are brought up to date by it, and never show what is no more. No strike stands where a name changed.
    """

    __tablename__ = "strike_change"
    __table_args__ = ({"sqlite_autoincrement": True},)

    id: Mapped[int] = mapped_column(primary_key=True)
    strike_id: Mapped[int | None] = mapped_column(Integer)
    token: Mapped[int] = mapped_column(Integer)
    """At random: a lab that was restored from a copy tells itself from its own future by it."""


class Analysis(Base):
    """One run over one recording; ``output`` is the hash of what came out."""

    __tablename__ = "analysis"

    id: Mapped[int] = mapped_column(primary_key=True)
    recording_sha256: Mapped[str] = mapped_column(ForeignKey("recording.sha256"), index=True)
    method_sha256: Mapped[str] = mapped_column(ForeignKey("method.sha256"))
    rig_version: Mapped[str | None] = mapped_column(ForeignKey("rig_version.version"))
    motion_sha256: Mapped[str | None] = mapped_column(ForeignKey("recording.sha256"))
    quintain: Mapped[str] = mapped_column(String(40))
    output: Mapped[str] = mapped_column(Sha256)
    n_strikes: Mapped[int] = mapped_column(Integer)
    flags: Mapped[list[dict[str, str]]] = mapped_column(JSON, default=list)
    history: Mapped[list[dict[str, Any]]] = mapped_column(JSON, default=list)
    clock: Mapped[dict[str, Any] | None] = mapped_column(JSON)
    """How strikes tied the clock of the motion to that of the force, as JSON; null where they did not."""
    current: Mapped[bool] = mapped_column(Boolean, default=True)
    at: Mapped[datetime] = mapped_column(Utc, default=utc_now)

    recording: Mapped[Recording] = relationship(foreign_keys=[recording_sha256])


class Result(Base):
    """
    What one analysis says of one strike.

    Each quantity of the glossary that a strike can have is a column in its SI unit, beside it
    ``u_`` and its name for the standard uncertainty; null where nothing is stated. ``detail`` holds the rest
    of the strike's JSON: contacts, budget, sentences of its flags.
    """

    __tablename__ = "result"

    id: Mapped[int] = mapped_column(primary_key=True)
    strike_id: Mapped[int] = mapped_column(ForeignKey("strike.id"), index=True)
    analysis_id: Mapped[int] = mapped_column(ForeignKey("analysis.id"), index=True)
    number: Mapped[int] = mapped_column(Integer)
    """Place in the recording by this analysis, from 1."""
    codes: Mapped[str] = mapped_column(Text, default="")
    """Codes of its flags, with a blank between."""
    detail: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)

    analysis: Mapped[Analysis] = relationship()


for _name in STRIKE_QUANTITIES:
    setattr(Result, _name, mapped_column(Float))
    setattr(Result, f"u_{_name}", mapped_column(Float))


# -- studies, work under way, and who did what


class Study(Base):
    """A study: its plan, fixed before the numbers are looked at."""

    __tablename__ = "study"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(String(60), unique=True)
    title: Mapped[str] = mapped_column(String(200), default="")
    plan: Mapped[str] = mapped_column(Text)
    """The text of its study.toml."""
    added: Mapped[datetime] = mapped_column(Utc, default=utc_now)


class Job(Base):
    """Long work that somebody asked for; it goes on when its asker looks away."""

    __tablename__ = "job"

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(40))
    state: Mapped[str] = mapped_column(String(12), default="waiting", index=True)
    """'waiting', 'running', 'cancelling', 'interrupted', 'done', 'failed', 'cancelled'; of a job whose
    process was killed, the silence of ``touched`` tells."""
    asked: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)
    what: Mapped[str] = mapped_column(String(200), default="")
    done: Mapped[float] = mapped_column(Float, default=0.0)
    total: Mapped[float | None] = mapped_column(Float)
    message: Mapped[str] = mapped_column(Text, default="")
    result: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)
    who: Mapped[str] = mapped_column(String(100), default="")
    added: Mapped[datetime] = mapped_column(Utc, default=utc_now)
    touched: Mapped[datetime | None] = mapped_column(Utc)
    """Last sign of life of the process that does it."""
    ended: Mapped[datetime | None] = mapped_column(Utc)


class Audit(Base):
    """Who did what, and when; rows are added and never changed."""

    __tablename__ = "audit"
    __table_args__ = (Index(None, "subject", "subject_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(Utc, default=utc_now)
    who: Mapped[str] = mapped_column(String(100))
    action: Mapped[str] = mapped_column(String(60))
    subject: Mapped[str] = mapped_column(String(40), default="")
    subject_id: Mapped[str] = mapped_column(String(64), default="")
    before: Mapped[dict[str, Any] | None] = mapped_column(JSON)
    after: Mapped[dict[str, Any] | None] = mapped_column(JSON)
