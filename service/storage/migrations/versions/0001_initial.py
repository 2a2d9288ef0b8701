"""Lay the schema down: tables, and what the application's role may do with each.

The owner's role runs this; the application's role exists already. It may add rows everywhere, change rows only in the
tables that are not append-only, and remove nothing but a person's name.
"""

import sqlalchemy as sa
from alembic import context, op
from sqlalchemy.dialects import postgresql

revision = "0001"
down_revision = None

CHANGING = (
    "project_head",
    "token",
    "person",
    "person_certificate",
    "route",
    "fibre",
    "standing_verdict",
    "job",
    "submission",
    "submission_segment",
    "package",
    "signature_upload",
    "acceptance",
    "criteria_trial",
)


def upgrade() -> None:
    """Make the tables and grant the application's role its rights."""
    _make_tables()
    _grant(context.config.attributes["application_role"])


def _grant(role: str) -> None:
    quoted = op.get_bind().dialect.identifier_preparer.quote(role)
    op.execute(f"GRANT USAGE ON SCHEMA public TO {quoted}")
    op.execute(f"GRANT SELECT, INSERT ON ALL TABLES IN SCHEMA public TO {quoted}")
    for table in CHANGING:
        op.execute(f"GRANT UPDATE ON {table} TO {quoted}")
    op.execute(f"GRANT DELETE ON person TO {quoted}")
    op.execute(f"REVOKE INSERT ON alembic_version FROM {quoted}")


def _make_tables() -> None:
    op.create_table(
        "project",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("owner", sa.String(), nullable=False),
        sa.Column("contractor", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_project")),
        sa.UniqueConstraint("code", name=op.f("uq_project_code")),
    )
    op.create_table(
        "record_fibre",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("fibre", sa.Integer(), nullable=False),
        sa.Column("record_id", sa.Uuid(), nullable=False),
        sa.PrimaryKeyConstraint("project_id", "route_id", "fibre", "record_id", name=op.f("pk_record_fibre")),
    )
    op.create_table(
        "submission_record",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("submission_id", sa.Uuid(), nullable=False),
        sa.Column("record_id", sa.Uuid(), nullable=False),
        sa.Column("is_ended", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("project_id", "submission_id", "record_id", name=op.f("pk_submission_record")),
    )
    op.create_table(
        "submission_segment",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("submission_id", sa.Uuid(), nullable=False),
        sa.Column("segment_id", sa.String(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("is_open", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("project_id", "submission_id", "segment_id", name=op.f("pk_submission_segment")),
    )
    op.create_index(
        "uq_submission_segment_open",
        "submission_segment",
        ["project_id", "route_id", "segment_id"],
        unique=True,
        postgresql_where=sa.text("is_open"),
    )
    op.create_table(
        "token",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("token_sha256", sa.String(), nullable=False),
        sa.Column("prefix", sa.String(), nullable=False),
        sa.Column("holder", sa.String(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_token")),
        sa.UniqueConstraint("token_sha256", name=op.f("uq_token_token_sha256")),
    )
    op.create_table(
        "audit_entry",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("entry", sa.Text(), nullable=False),
        sa.Column("previous_hash", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_audit_entry_project_id")),
        sa.PrimaryKeyConstraint("project_id", "sequence", name=op.f("pk_audit_entry")),
    )
    op.create_table(
        "criteria_version",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("token_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_criteria_version_project_id")),
        sa.PrimaryKeyConstraint("project_id", "version", name=op.f("pk_criteria_version")),
    )
    op.create_table(
        "job",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("subject_id", sa.Uuid(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("leased_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("hinted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("fence", sa.BigInteger(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("last_error", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_job_project_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
        sa.UniqueConstraint("kind", "subject_id", name=op.f("uq_job_kind_subject_id")),
    )
    op.create_index(
        "ix_job_open", "job", ["due_at"], unique=False, postgresql_where=sa.text("state IN ('due', 'leased')")
    )
    op.create_table(
        "notice",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("type", sa.String(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("segment_id", sa.String(), nullable=False),
        sa.Column("acceptance_number", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_notice_project_id")),
        sa.PrimaryKeyConstraint("project_id", "sequence", name=op.f("pk_notice")),
        sa.UniqueConstraint(
            "project_id",
            "route_id",
            "segment_id",
            "acceptance_number",
            "type",
            name=op.f("uq_notice_project_id_route_id_segment_id_acceptance_number_type"),
        ),
    )
    op.create_table(
        "person",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_person_project_id")),
        sa.PrimaryKeyConstraint("project_id", "id", name=op.f("pk_person")),
    )
    op.create_table(
        "project_head",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("notice_sequence", sa.BigInteger(), nullable=False),
        sa.Column("audit_sequence", sa.BigInteger(), nullable=False),
        sa.Column("audit_hash", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_project_head_project_id")),
        sa.PrimaryKeyConstraint("project_id", name=op.f("pk_project_head")),
    )
    op.create_table(
        "route",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("version", sa.BigInteger(), nullable=False),
        sa.Column("design_revision", sa.Integer(), nullable=False),
        sa.Column("criteria_version", sa.Integer(), nullable=True),
        sa.Column("proposed_criteria_version", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_route_project_id")),
        sa.PrimaryKeyConstraint("project_id", "id", name=op.f("pk_route")),
        sa.UniqueConstraint("project_id", "code", name=op.f("uq_route_project_id_code")),
    )
    op.create_table(
        "site",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_site_project_id")),
        sa.PrimaryKeyConstraint("project_id", "id", name=op.f("pk_site")),
    )
    op.create_table(
        "token_project",
        sa.Column("token_id", sa.Uuid(), nullable=False),
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_token_project_project_id")),
        sa.ForeignKeyConstraint(["token_id"], ["token.id"], name=op.f("fk_token_project_token_id")),
        sa.PrimaryKeyConstraint("token_id", "project_id", name=op.f("pk_token_project")),
    )
    op.create_table(
        "acceptance",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("segment_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("package_id", sa.Uuid(), nullable=False),
        sa.Column("accepted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawal_reason", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["project_id", "route_id"], ["route.project_id", "route.id"], name=op.f("fk_acceptance_project_id_route_id")
        ),
        sa.PrimaryKeyConstraint("project_id", "route_id", "segment_id", "number", name=op.f("pk_acceptance")),
    )
    op.create_index(
        "uq_acceptance_standing",
        "acceptance",
        ["project_id", "route_id", "segment_id"],
        unique=True,
        postgresql_where=sa.text("withdrawn_at IS NULL"),
    )
    op.create_table(
        "criteria_trial",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("design_revision", sa.Integer(), nullable=False),
        sa.Column("criteria_sha256", sa.String(), nullable=False),
        sa.Column("criteria", sa.Text(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.Column("progress", sa.Text(), nullable=True),
        sa.Column("result", sa.Text(), nullable=True),
        sa.Column("requested_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("finished_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("token_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(
            ["project_id", "route_id"],
            ["route.project_id", "route.id"],
            name=op.f("fk_criteria_trial_project_id_route_id"),
        ),
        sa.PrimaryKeyConstraint("project_id", "id", name=op.f("pk_criteria_trial")),
    )
    op.create_index(
        op.f("ix_criteria_trial_project_id_requested_at"),
        "criteria_trial",
        ["project_id", "requested_at"],
        unique=False,
    )
    op.create_table(
        "design_revision",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("token_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(
            ["project_id", "route_id"],
            ["route.project_id", "route.id"],
            name=op.f("fk_design_revision_project_id_route_id"),
        ),
        sa.PrimaryKeyConstraint("project_id", "route_id", "revision", name=op.f("pk_design_revision")),
    )
    op.create_table(
        "fibre",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("evidence_version", sa.BigInteger(), nullable=False),
        sa.Column("judged_version", sa.BigInteger(), nullable=False),
        sa.Column("is_urgent", sa.Boolean(), nullable=False),
        sa.Column("digest", sa.String(), nullable=True),
        sa.Column("content", sa.Text(), nullable=True),
        sa.Column("work", sa.Text(), nullable=True),
        sa.Column("counts", postgresql.JSONB(none_as_null=True, astext_type=sa.Text()), nullable=True),
        sa.Column("missing", postgresql.JSONB(none_as_null=True, astext_type=sa.Text()), nullable=True),
        sa.Column("figures", postgresql.JSONB(none_as_null=True, astext_type=sa.Text()), nullable=True),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["project_id", "route_id"], ["route.project_id", "route.id"], name=op.f("fk_fibre_project_id_route_id")
        ),
        sa.PrimaryKeyConstraint("project_id", "route_id", "number", name=op.f("pk_fibre")),
    )
    op.create_index(
        "ix_fibre_waiting",
        "fibre",
        ["project_id", "route_id"],
        unique=False,
        postgresql_where=sa.text("judged_version < evidence_version"),
    )
    op.create_index(
        "ix_fibre_work", "fibre", ["project_id", "route_id"], unique=False, postgresql_where=sa.text("work IS NOT NULL")
    )
    op.create_index(
        "ix_fibre_problem",
        "fibre",
        ["project_id", "route_id"],
        unique=False,
        postgresql_where=sa.text("problem IS NOT NULL"),
    )
    op.create_table(
        "record",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("lid_site", sa.String(), nullable=True),
        sa.Column("splicer_serial", sa.String(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("route_version", sa.BigInteger(), nullable=False),
        sa.Column("clock_is_flagged", sa.Boolean(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("token_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(
            ["project_id", "route_id"], ["route.project_id", "route.id"], name=op.f("fk_record_project_id_route_id")
        ),
        sa.PrimaryKeyConstraint("project_id", "id", name=op.f("pk_record")),
    )
    op.create_index("ix_record_arrival", "record", ["project_id", "route_id", "route_version", "id"], unique=False)
    op.create_index(
        "ix_record_lid",
        "record",
        ["project_id", "lid_site"],
        unique=False,
        postgresql_where=sa.text("lid_site IS NOT NULL"),
    )
    op.create_index(
        "ix_record_splicer",
        "record",
        ["project_id", "splicer_serial", "kind"],
        unique=False,
        postgresql_where=sa.text("splicer_serial IS NOT NULL"),
    )
    op.create_table(
        "route_site",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("site_id", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["project_id", "route_id"], ["route.project_id", "route.id"], name=op.f("fk_route_site_project_id_route_id")
        ),
        sa.PrimaryKeyConstraint("project_id", "route_id", "site_id", name=op.f("pk_route_site")),
    )
    op.create_index(op.f("ix_route_site_project_id_site_id"), "route_site", ["project_id", "site_id"], unique=False)
    op.create_table(
        "standing_verdict",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("missing", postgresql.JSONB(none_as_null=True, astext_type=sa.Text()), nullable=False),
        sa.Column("settled_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["project_id", "route_id"],
            ["route.project_id", "route.id"],
            name=op.f("fk_standing_verdict_project_id_route_id"),
        ),
        sa.PrimaryKeyConstraint("project_id", "route_id", name=op.f("pk_standing_verdict")),
    )
    op.create_table(
        "submission",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("verdict_digest", sa.String(), nullable=False),
        sa.Column("design_revision", sa.Integer(), nullable=False),
        sa.Column("criteria_version", sa.Integer(), nullable=False),
        sa.Column("segments", postgresql.ARRAY(sa.Text()), nullable=False),
        sa.Column("concessions", postgresql.JSONB(none_as_null=True, astext_type=sa.Text()), nullable=False),
        sa.Column("dark_fibres", postgresql.ARRAY(sa.Integer()), nullable=False),
        sa.Column("responsible_person", sa.String(), nullable=False),
        sa.Column("signature", sa.String(), nullable=False),
        sa.Column("submitted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("token_id", sa.Uuid(), nullable=False),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["project_id", "route_id"], ["route.project_id", "route.id"], name=op.f("fk_submission_project_id_route_id")
        ),
        sa.PrimaryKeyConstraint("project_id", "id", name=op.f("pk_submission")),
        sa.UniqueConstraint("project_id", "route_id", "number", name=op.f("uq_submission_project_id_route_id_number")),
    )
    op.create_table(
        "package",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("submission_id", sa.Uuid(), nullable=False),
        sa.Column("route_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("verification_code", sa.String(), nullable=False),
        sa.Column("certified_sha256", sa.String(), nullable=False),
        sa.Column("certified_level", sa.String(), nullable=False),
        sa.Column("current_sha256", sa.String(), nullable=False),
        sa.Column("current_level", sa.String(), nullable=False),
        sa.Column("findings_sha256", sa.String(), nullable=False),
        sa.Column("attached", postgresql.JSONB(none_as_null=True, astext_type=sa.Text()), nullable=False),
        sa.Column("audit_sequence", sa.BigInteger(), nullable=False),
        sa.Column("audit_hash", sa.String(), nullable=False),
        sa.Column("issued_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deemed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("defect_noticed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("defect_notice", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["project_id", "submission_id"],
            ["submission.project_id", "submission.id"],
            name=op.f("fk_package_project_id_submission_id"),
        ),
        sa.PrimaryKeyConstraint("project_id", "id", name=op.f("pk_package")),
        sa.UniqueConstraint("project_id", "submission_id", name=op.f("uq_package_project_id_submission_id")),
        sa.UniqueConstraint("verification_code", name=op.f("uq_package_verification_code")),
    )
    op.create_table(
        "record_end",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("record_id", sa.Uuid(), nullable=False),
        sa.Column("replaced_by", sa.Uuid(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("token_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(
            ["project_id", "record_id"],
            ["record.project_id", "record.id"],
            name=op.f("fk_record_end_project_id_record_id"),
        ),
        sa.PrimaryKeyConstraint("project_id", "record_id", name=op.f("pk_record_end")),
    )
    op.create_table(
        "decision",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("package_id", sa.Uuid(), nullable=False),
        sa.Column("package_sha256", sa.String(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("decided_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("token_id", sa.Uuid(), nullable=True),
        sa.ForeignKeyConstraint(
            ["project_id", "package_id"],
            ["package.project_id", "package.id"],
            name=op.f("fk_decision_project_id_package_id"),
        ),
        sa.PrimaryKeyConstraint("project_id", "package_id", name=op.f("pk_decision")),
    )
    op.create_table(
        "person_certificate",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=True),
        sa.Column("pem", sa.Text(), nullable=True),
        sa.Column("valid_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("valid_until", sa.DateTime(timezone=True), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("token_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_person_certificate_project_id")),
        sa.PrimaryKeyConstraint("project_id", "sha256", name=op.f("pk_person_certificate")),
    )
    op.create_index(
        op.f("ix_person_certificate_project_id_person_id"),
        "person_certificate",
        ["project_id", "person_id"],
        unique=False,
    )
    op.create_table(
        "evidence_file",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("media_type", sa.String(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("token_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_evidence_file_project_id")),
        sa.PrimaryKeyConstraint("project_id", "sha256", name=op.f("pk_evidence_file")),
    )
    op.create_table(
        "package_file",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("package_id", sa.Uuid(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=True),
        sa.Column("signed_by", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=True),
        sa.Column("certificate_sha256", sa.String(), nullable=False),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("level", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["project_id", "package_id"],
            ["package.project_id", "package.id"],
            name=op.f("fk_package_file_project_id_package_id"),
        ),
        sa.PrimaryKeyConstraint("project_id", "package_id", "sequence", name=op.f("pk_package_file")),
        sa.UniqueConstraint(
            "project_id", "package_id", "role", name=op.f("uq_package_file_project_id_package_id_role")
        ),
    )
    op.create_table(
        "signature_upload",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("package_id", sa.Uuid(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("base_sha256", sa.String(), nullable=False),
        sa.Column("signer", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("problems", postgresql.JSONB(none_as_null=True, astext_type=sa.Text()), nullable=False),
        sa.Column("uploaded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("checked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("token_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(
            ["project_id", "package_id"],
            ["package.project_id", "package.id"],
            name=op.f("fk_signature_upload_project_id_package_id"),
        ),
        sa.PrimaryKeyConstraint("project_id", "id", name=op.f("pk_signature_upload")),
        sa.UniqueConstraint(
            "project_id",
            "package_id",
            "role",
            "sha256",
            name=op.f("uq_signature_upload_project_id_package_id_role_sha256"),
        ),
    )
