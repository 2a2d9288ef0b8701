"""Lay the schema down: tables, and what the application's role may do with each.

The owner's role runs this; the application's role exists already. It may add rows everywhere, change rows only in the
tables that are not append-only, and remove nothing but a person's name. All else of a decision stays as it was made:
only the name goes when it is erased.
"""

from pathlib import Path

from alembic import context, op

revision = "0001"
down_revision = None

CHANGING = (
    "project_head",
    "token",
    "person",
    "person_certificate",
    "route",
    "route_section",
    "fibre",
    "found_spots",
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
    op.execute((Path(__file__).parent / "0001_schema.sql").read_text())
    role = op.get_bind().dialect.identifier_preparer.quote(context.config.attributes["application_role"])
    op.execute(f"GRANT USAGE ON SCHEMA public TO {role}")
    op.execute(f"GRANT SELECT, INSERT ON ALL TABLES IN SCHEMA public TO {role}")
    op.execute(f"GRANT UPDATE ON {', '.join(CHANGING)} TO {role}")
    op.execute(f"GRANT UPDATE (decided_by_name, decided_by_position) ON decision TO {role}")
    op.execute(f"GRANT DELETE ON person TO {role}")
    op.execute(f"REVOKE INSERT ON alembic_version FROM {role}")
