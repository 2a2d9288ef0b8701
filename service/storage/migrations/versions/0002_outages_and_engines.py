"""Jobs that wait for something outside, and which engine judged.

Adds only, each column with a default: an older program goes on reading and writing beside a newer one.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_JUDGED = ("fibre", "standing_verdict", "submission")


def upgrade() -> None:
    """Add the columns, and let the index of open jobs find those that wait."""
    op.add_column("job", sa.Column("outage_since", sa.DateTime(timezone=True), nullable=True))
    op.drop_index("ix_job_open", table_name="job")
    op.create_index(
        "ix_job_open",
        "job",
        ["due_at"],
        unique=False,
        postgresql_where=sa.text("state IN ('due', 'leased', 'waiting')"),
    )
    for table in _JUDGED:
        op.add_column(table, sa.Column("engine_version", sa.Integer(), nullable=False, server_default=sa.text("0")))
