"""The tables of the first labs."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["down_revision", "revision", "upgrade"]

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables; of the audit nothing may be changed or taken away."""
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=100), nullable=False),
        sa.Column("action", sa.String(length=60), nullable=False),
        sa.Column("subject", sa.String(length=40), nullable=False),
        sa.Column("subject_id", sa.String(length=64), nullable=False),
        sa.Column("before", sa.JSON(), nullable=True),
        sa.Column("after", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit")),
    )
    op.create_index(op.f("ix_audit_subject_subject_id"), "audit", ["subject", "subject_id"], unique=False)
    op.create_table(
        "job",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("asked", sa.JSON(), nullable=False),
        sa.Column("what", sa.String(length=200), nullable=False),
        sa.Column("done", sa.Float(), nullable=False),
        sa.Column("total", sa.Float(), nullable=True),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("result", sa.JSON(), nullable=False),
        sa.Column("who", sa.String(length=100), nullable=False),
        sa.Column("added", sa.DateTime(timezone=True), nullable=False),
        sa.Column("touched", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
    )
    op.create_index(op.f("ix_job_state"), "job", ["state"], unique=False)
    op.create_table(
        "lab",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("invented", sa.Boolean(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lab")),
    )
    op.create_table(
        "method",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=100), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.Column("added", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_method")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("body_mass", sa.Float(), nullable=True),
        sa.Column("height", sa.Float(), nullable=True),
        sa.Column("side", sa.String(length=10), nullable=False),
        sa.Column("experience", sa.Float(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("added", sa.DateTime(timezone=True), nullable=False),
        sa.Column("erased", sa.DateTime(timezone=True), nullable=True),
        sa.Column("changes", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("code", name=op.f("uq_person_code")),
    )
    op.create_table(
        "rig",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("current", sa.String(length=64), nullable=False),
        sa.Column("added", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rig")),
        sa.UniqueConstraint("name", name=op.f("uq_rig_name")),
    )
    op.create_table(
        "strike_type",
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("family", sa.String(length=20), nullable=False),
        sa.Column("own", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_strike_type")),
    )
    op.create_table(
        "study",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=60), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.Column("added", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study")),
        sa.UniqueConstraint("code", name=op.f("uq_study_code")),
    )
    op.create_table(
        "evidence",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("rig_id", sa.Integer(), nullable=False),
        sa.Column("rig_version", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("when", sa.DateTime(timezone=True), nullable=False),
        sa.Column("inputs", sa.JSON(), nullable=False),
        sa.Column("values", sa.JSON(), nullable=False),
        sa.Column("verdict", sa.String(length=20), nullable=False),
        sa.Column("answer", sa.JSON(), nullable=False),
        sa.Column("quintain", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(["rig_id"], ["rig.id"], name=op.f("fk_evidence_rig_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_evidence")),
    )
    op.create_index(op.f("ix_evidence_rig_id"), "evidence", ["rig_id"], unique=False)
    op.create_table(
        "identity",
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("contact", sa.String(length=300), nullable=False),
        sa.Column("born", sa.String(length=10), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_identity_person_id")),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_identity")),
    )
    op.create_table(
        "rig_version",
        sa.Column("version", sa.String(length=64), nullable=False),
        sa.Column("rig_id", sa.Integer(), nullable=False),
        sa.Column("toml", sa.Text(), nullable=False),
        sa.Column("added", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["rig_id"], ["rig.id"], name=op.f("fk_rig_version_rig_id")),
        sa.PrimaryKeyConstraint("version", name=op.f("pk_rig_version")),
    )
    op.create_index(op.f("ix_rig_version_rig_id"), "rig_version", ["rig_id"], unique=False)
    op.create_table(
        "session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=60), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("when", sa.DateTime(timezone=True), nullable=True),
        sa.Column("rig_id", sa.Integer(), nullable=True),
        sa.Column("seed", sa.BigInteger(), nullable=True),
        sa.Column("plan", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("added", sa.DateTime(timezone=True), nullable=False),
        sa.Column("changes", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["rig_id"], ["rig.id"], name=op.f("fk_session_rig_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_session")),
        sa.UniqueConstraint("code", name=op.f("uq_session_code")),
    )
    op.create_index(op.f("ix_session_rig_id"), "session", ["rig_id"], unique=False)
    op.create_index(op.f("ix_session_when"), "session", ["when"], unique=False)
    op.create_table(
        "planned",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("block", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("type", sa.String(length=60), nullable=False),
        sa.Column("side", sa.String(length=10), nullable=False),
        sa.Column("rest", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_planned_person_id")),
        sa.ForeignKeyConstraint(["session_id"], ["session.id"], name=op.f("fk_planned_session_id")),
        sa.ForeignKeyConstraint(["type"], ["strike_type.name"], name=op.f("fk_planned_type")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_planned")),
        sa.UniqueConstraint("session_id", "position", name=op.f("uq_planned_session_id_position")),
    )
    op.create_table(
        "recording",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("n_bytes", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("format", sa.String(length=40), nullable=False),
        sa.Column("when", sa.DateTime(timezone=True), nullable=True),
        sa.Column("duration", sa.Float(), nullable=True),
        sa.Column("rate", sa.Float(), nullable=True),
        sa.Column("reading", sa.JSON(), nullable=False),
        sa.Column("channel", sa.String(length=200), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=True),
        sa.Column("rig_id", sa.Integer(), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("type", sa.String(length=60), nullable=True),
        sa.Column("side", sa.String(length=10), nullable=False),
        sa.Column("trial", sa.Integer(), nullable=True),
        sa.Column("motion_sha256", sa.String(length=64), nullable=True),
        sa.Column("speeds", sa.Text(), nullable=False),
        sa.Column("imported", sa.DateTime(timezone=True), nullable=False),
        sa.Column("gone", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["motion_sha256"], ["recording.sha256"], name=op.f("fk_recording_motion_sha256")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_recording_person_id")),
        sa.ForeignKeyConstraint(["rig_id"], ["rig.id"], name=op.f("fk_recording_rig_id")),
        sa.ForeignKeyConstraint(["session_id"], ["session.id"], name=op.f("fk_recording_session_id")),
        sa.ForeignKeyConstraint(["type"], ["strike_type.name"], name=op.f("fk_recording_type")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_recording")),
    )
    op.create_index(op.f("ix_recording_motion_sha256"), "recording", ["motion_sha256"], unique=False)
    op.create_index(op.f("ix_recording_n_bytes"), "recording", ["n_bytes"], unique=False)
    op.create_index(op.f("ix_recording_person_id"), "recording", ["person_id"], unique=False)
    op.create_index(op.f("ix_recording_rig_id"), "recording", ["rig_id"], unique=False)
    op.create_index(op.f("ix_recording_session_id"), "recording", ["session_id"], unique=False)
    op.create_index(op.f("ix_recording_when"), "recording", ["when"], unique=False)
    op.create_table(
        "analysis",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_sha256", sa.String(length=64), nullable=False),
        sa.Column("method_sha256", sa.String(length=64), nullable=False),
        sa.Column("rig_version", sa.String(length=64), nullable=True),
        sa.Column("motion_sha256", sa.String(length=64), nullable=True),
        sa.Column("quintain", sa.String(length=40), nullable=False),
        sa.Column("output", sa.String(length=64), nullable=False),
        sa.Column("n_strikes", sa.Integer(), nullable=False),
        sa.Column("flags", sa.JSON(), nullable=False),
        sa.Column("history", sa.JSON(), nullable=False),
        sa.Column("current", sa.Boolean(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["method_sha256"], ["method.sha256"], name=op.f("fk_analysis_method_sha256")),
        sa.ForeignKeyConstraint(
            ["motion_sha256"], ["recording.sha256"], name=op.f("fk_analysis_motion_sha256")
        ),
        sa.ForeignKeyConstraint(
            ["recording_sha256"], ["recording.sha256"], name=op.f("fk_analysis_recording_sha256")
        ),
        sa.ForeignKeyConstraint(
            ["rig_version"], ["rig_version.version"], name=op.f("fk_analysis_rig_version")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_analysis")),
    )
    op.create_index(op.f("ix_analysis_recording_sha256"), "analysis", ["recording_sha256"], unique=False)
    op.create_table(
        "source",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_sha256", sa.String(length=64), nullable=False),
        sa.Column("path", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=100), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["recording_sha256"], ["recording.sha256"], name=op.f("fk_source_recording_sha256")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_source")),
    )
    op.create_index(op.f("ix_source_recording_sha256"), "source", ["recording_sha256"], unique=False)
    op.create_table(
        "strike",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_sha256", sa.String(length=64), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=True),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("start", sa.Float(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("type", sa.String(length=60), nullable=True),
        sa.Column("side", sa.String(length=10), nullable=False),
        sa.Column("series", sa.Integer(), nullable=True),
        sa.Column("planned_id", sa.Integer(), nullable=True),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("changes", sa.Integer(), nullable=False),
        sa.Column("result_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "state in ('waiting', 'accepted', 'rejected', 'gone')", name=op.f("ck_strike_state")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_strike_person_id")),
        sa.ForeignKeyConstraint(["planned_id"], ["planned.id"], name=op.f("fk_strike_planned_id")),
        sa.ForeignKeyConstraint(
            ["recording_sha256"], ["recording.sha256"], name=op.f("fk_strike_recording_sha256")
        ),
        sa.ForeignKeyConstraint(
            ["result_id"], ["result.id"], name=op.f("fk_strike_result_id"), use_alter=True
        ),
        sa.ForeignKeyConstraint(["session_id"], ["session.id"], name=op.f("fk_strike_session_id")),
        sa.ForeignKeyConstraint(["type"], ["strike_type.name"], name=op.f("fk_strike_type")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_strike")),
    )
    op.create_index(op.f("ix_strike_person_id_type"), "strike", ["person_id", "type"], unique=False)
    op.create_index(op.f("ix_strike_recording_sha256"), "strike", ["recording_sha256"], unique=False)
    op.create_index(op.f("ix_strike_result_id"), "strike", ["result_id"], unique=False)
    op.create_index(op.f("ix_strike_session_id_position"), "strike", ["session_id", "position"], unique=False)
    op.create_table(
        "result",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("strike_id", sa.Integer(), nullable=False),
        sa.Column("analysis_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("codes", sa.Text(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.Column("contact_time", sa.Float(), nullable=True),
        sa.Column("u_contact_time", sa.Float(), nullable=True),
        sa.Column("impulse", sa.Float(), nullable=True),
        sa.Column("u_impulse", sa.Float(), nullable=True),
        sa.Column("impulse_to_stop", sa.Float(), nullable=True),
        sa.Column("u_impulse_to_stop", sa.Float(), nullable=True),
        sa.Column("impulse_to_peak", sa.Float(), nullable=True),
        sa.Column("u_impulse_to_peak", sa.Float(), nullable=True),
        sa.Column("peak_force", sa.Float(), nullable=True),
        sa.Column("u_peak_force", sa.Float(), nullable=True),
        sa.Column("peak_contact_force", sa.Float(), nullable=True),
        sa.Column("u_peak_contact_force", sa.Float(), nullable=True),
        sa.Column("peak_force_raw", sa.Float(), nullable=True),
        sa.Column("u_peak_force_raw", sa.Float(), nullable=True),
        sa.Column("peak_force_cfc", sa.Float(), nullable=True),
        sa.Column("u_peak_force_cfc", sa.Float(), nullable=True),
        sa.Column("time_to_peak", sa.Float(), nullable=True),
        sa.Column("u_time_to_peak", sa.Float(), nullable=True),
        sa.Column("rate_of_force_development", sa.Float(), nullable=True),
        sa.Column("u_rate_of_force_development", sa.Float(), nullable=True),
        sa.Column("expected_peak", sa.Float(), nullable=True),
        sa.Column("u_expected_peak", sa.Float(), nullable=True),
        sa.Column("sampling_loss", sa.Float(), nullable=True),
        sa.Column("u_sampling_loss", sa.Float(), nullable=True),
        sa.Column("approach_speed", sa.Float(), nullable=True),
        sa.Column("u_approach_speed", sa.Float(), nullable=True),
        sa.Column("time_to_stop", sa.Float(), nullable=True),
        sa.Column("u_time_to_stop", sa.Float(), nullable=True),
        sa.Column("effective_mass", sa.Float(), nullable=True),
        sa.Column("u_effective_mass", sa.Float(), nullable=True),
        sa.Column("effective_mass_low", sa.Float(), nullable=True),
        sa.Column("u_effective_mass_low", sa.Float(), nullable=True),
        sa.Column("effective_mass_high", sa.Float(), nullable=True),
        sa.Column("u_effective_mass_high", sa.Float(), nullable=True),
        sa.Column("energy", sa.Float(), nullable=True),
        sa.Column("u_energy", sa.Float(), nullable=True),
        sa.Column("kinetic_energy", sa.Float(), nullable=True),
        sa.Column("u_kinetic_energy", sa.Float(), nullable=True),
        sa.Column("mean_power", sa.Float(), nullable=True),
        sa.Column("u_mean_power", sa.Float(), nullable=True),
        sa.Column("peak_power", sa.Float(), nullable=True),
        sa.Column("u_peak_power", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(["analysis_id"], ["analysis.id"], name=op.f("fk_result_analysis_id")),
        sa.ForeignKeyConstraint(["strike_id"], ["strike.id"], name=op.f("fk_result_strike_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_result")),
    )
    op.create_index(op.f("ix_result_analysis_id"), "result", ["analysis_id"], unique=False)
    op.create_index(op.f("ix_result_strike_id"), "result", ["strike_id"], unique=False)
    if op.get_bind().dialect.name == "sqlite":
        for event in ("update", "delete"):
            op.execute(
                f"create trigger audit_no_{event} before {event} on audit "
                "begin select raise(abort, 'the audit is append-only'); end"
            )
    else:
        # Strikes and results point at each other; SQLite alone takes that in one piece.
        op.create_foreign_key("fk_strike_result_id", "strike", "result", ["result_id"], ["id"])
        op.execute(
            "create function audit_is_append_only() returns trigger language plpgsql as "
            "$$ begin raise exception 'the audit is append-only'; end $$"
        )
        op.execute(
            "create trigger audit_no_change before update or delete or truncate on audit "
            "execute function audit_is_append_only()"
        )
