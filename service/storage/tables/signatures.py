"""The files of a package, signature by signature."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import ForeignKeyConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.storage.tables.columns import instant


class PackageFile(SQLModel, table=True):
    """A file of a package: the certified one, which has no role, then one for each signature that was added.

    `person` is whose act was signed or sealed, by opaque id; none where the clock decided.
    """

    __tablename__ = "package_file"
    __table_args__ = (
        ForeignKeyConstraint(["project_id", "package_id"], ["package.project_id", "package.id"]),
        UniqueConstraint("project_id", "package_id", "role"),
    )
    project_id: UUID = Field(primary_key=True)
    package_id: UUID = Field(primary_key=True)
    sequence: int = Field(primary_key=True)
    sha256: str
    role: str | None = None
    signed_by: str
    person: str | None = None
    certificate_sha256: str
    signed_at: datetime = instant()
