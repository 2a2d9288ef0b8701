"""Give people sides, and let submissions and decisions keep the names that are printed of them.

Who holds an engineer's token, or has signed as the engineer, is the owner's; everybody else is the contractor's.
"""

import sqlalchemy as sa
from alembic import context, op

revision = "0003"
down_revision = "0002"

_SIDES = """
WITH engineers AS (
    SELECT p.project_id, t.holder AS person_id FROM token t JOIN token_project p ON p.token_id = t.id
    WHERE t.kind = 'engineer' AND t.holder IS NOT NULL
    UNION
    SELECT project_id, person FROM package_file WHERE role = 'engineer' AND person IS NOT NULL
    UNION
    SELECT project_id, signer FROM signature_upload WHERE role = 'engineer'
), others AS (
    SELECT project_id, id AS person_id FROM person
    UNION
    SELECT p.project_id, t.holder FROM token t JOIN token_project p ON p.token_id = t.id
    WHERE t.kind IN ('crew', 'contractor') AND t.holder IS NOT NULL
    UNION
    SELECT project_id, responsible_person FROM submission
    UNION
    SELECT project_id, body::json ->> 'operator' FROM record
)
INSERT INTO person_side (project_id, person_id, side)
SELECT project_id, person_id, 'owner' FROM engineers
UNION ALL
SELECT project_id, person_id, 'contractor' FROM others
WHERE (project_id, person_id) NOT IN (SELECT project_id, person_id FROM engineers)
"""


def upgrade() -> None:
    """Add the sides of people and the names of acts, and what the application's role may do with them."""
    op.create_table(
        "person_side",
        sa.Column("project_id", sa.Uuid(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("side", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["project_id"], ["project.id"], name=op.f("fk_person_side_project_id")),
        sa.PrimaryKeyConstraint("project_id", "person_id", name=op.f("pk_person_side")),
    )
    op.execute(_SIDES)
    for table, act in (("submission", "responsible"), ("decision", "decided_by")):
        for what in ("name", "position"):
            op.add_column(table, sa.Column(f"{act}_{what}", sa.Text(), nullable=True))
    role = op.get_bind().dialect.identifier_preparer.quote(context.config.attributes["application_role"])
    op.execute(f"GRANT SELECT, INSERT ON person_side TO {role}")
    # All else of a decision stays as it was made: only the name goes when it is erased.
    op.execute(f"GRANT UPDATE (decided_by_name, decided_by_position) ON decision TO {role}")
