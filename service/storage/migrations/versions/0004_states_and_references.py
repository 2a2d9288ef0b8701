"""Hold states to their closed lists, and segments to their submission.

The rules are added unproven, which asks for a lock but reads no row, and proven afterwards. These tables have a row for
each submission, upload, trial and subject of work: proving takes milliseconds. `migrate` bounds how long it waits for a
lock. An older program keeps to the lists already, and goes on giving tokens a prefix, which nothing reads any more.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

_STATES = {
    "job": ("idle", "due", "leased", "done", "parked", "waiting"),
    "submission": ("queued", "issued", "decided", "parked"),
    "signature_upload": ("checking", "taken", "refused"),
    "criteria_trial": ("due", "done", "parked", "ended"),
}
_SEGMENT = "fk_submission_segment_project_id_submission_id"


def upgrade() -> None:
    """Add the rules and prove them of what is there."""
    for table, states in _STATES.items():
        listed = ", ".join(f"'{one}'" for one in states)
        op.execute(f"ALTER TABLE {table} ADD CONSTRAINT ck_{table}_state CHECK (state IN ({listed})) NOT VALID")
        op.execute(f"ALTER TABLE {table} VALIDATE CONSTRAINT ck_{table}_state")
    op.execute(
        f"ALTER TABLE submission_segment ADD CONSTRAINT {_SEGMENT} FOREIGN KEY (project_id, submission_id) "
        "REFERENCES submission (project_id, id) NOT VALID"
    )
    op.execute(f"ALTER TABLE submission_segment VALIDATE CONSTRAINT {_SEGMENT}")
    op.alter_column("token", "prefix", server_default=sa.text("''"))
