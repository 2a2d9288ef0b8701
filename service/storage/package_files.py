"""A package's files: the certified one, and what each signature made of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from service.storage.tables import Package, PackageFile
from service.vocabulary.signature_level import SignatureLevel
from service.vocabulary.signatures import SignaturePlace, SignedBy


@dataclass(frozen=True, kw_only=True)
class SignedFile:
    """A file that a signature made, whose signature it is, and the level that all in it reach, as it was read back."""

    sha256: str
    role: SignaturePlace | None
    signed_by: SignedBy
    person: str | None
    certificate_sha256: str
    signed_at: datetime
    level: SignatureLevel


def signatures_of(session: Session, package: Package) -> Sequence[PackageFile]:
    """Return the files that the seal over the decision and people's own signatures made, in order."""
    statement = select(PackageFile).where(
        PackageFile.project_id == package.project_id,
        PackageFile.package_id == package.id,
        col(PackageFile.role).is_not(None),
    )
    return session.exec(statement.order_by(col(PackageFile.sequence))).all()


def add_files(session: Session, package: Package, files: Sequence[SignedFile]) -> None:
    """Add files under the route's lock; the last one is the current file from now on."""
    statement = select(PackageFile.sequence).where(
        PackageFile.project_id == package.project_id, PackageFile.package_id == package.id
    )
    last = max(session.exec(statement), default=0)
    session.add_all(
        PackageFile(
            project_id=package.project_id,
            package_id=package.id,
            sequence=last + number,
            sha256=file.sha256,
            role=None if file.role is None else file.role.value,
            signed_by=file.signed_by.value,
            person=file.person,
            certificate_sha256=file.certificate_sha256,
            signed_at=file.signed_at,
            level=file.level.value,
        )
        for number, file in enumerate(files, start=1)
    )
    package.current_sha256, package.current_level = files[-1].sha256, files[-1].level.value
