"""Packages, their files (the certified one, and what each signature made of it), and signed files that were sent in.

With the decisions on them, and the acceptances that these make.
"""

from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, func, select

from service.storage.rows import by_id, of_route, required
from service.storage.session import add_rows
from service.storage.tables import Acceptance, Decision, Package, PackageFile, Route, SignatureUpload, Submission
from service.vocabulary.signatures import SignatureLevel, SignaturePlace, SignatureRole, SignedBy


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


def find_package(session: Session, projects: Collection[UUID] | None, package_id: UUID) -> Package:
    """Return a package of the caller's projects, as it is now."""
    return required(session.exec(by_id(Package, projects, package_id)).one_or_none(), "package", package_id)


def package_with_code(session: Session, verification_code: str) -> Package | None:
    """Return the package that a verification code stands for."""
    return session.exec(select(Package).where(Package.verification_code == verification_code)).one_or_none()


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
        PackageFile(project_id=package.project_id, package_id=package.id, sequence=last + number, **asdict(file))
        for number, file in enumerate(files, start=1)
    )
    package.current_sha256, package.current_level = files[-1].sha256, files[-1].level


def submission_of_package(session: Session, package: Package) -> Submission:
    """Return the submission that a package answers."""
    return session.get_one(Submission, (package.project_id, package.submission_id))


def packages_beside(session: Session, submission: Submission) -> Sequence[tuple[Package, Submission]]:
    """Return the other packages of a route that share a segment with a submission, with theirs, newest first."""
    others = other_packages(session, submission)
    return [one for one in others if not set(one[1].segments).isdisjoint(submission.segments)]


def other_packages(session: Session, submission: Submission) -> Sequence[tuple[Package, Submission]]:
    """Return all packages of a route but a submission's, each with its own submission, newest first."""
    rows = session.execute(
        select(Package, Submission)
        .join_from(Package, Submission)
        .where(
            Package.project_id == submission.project_id,
            Package.route_id == submission.route_id,
            Submission.id != submission.id,
        )
        .order_by(col(Submission.number).desc())
    )
    return [(row[0], row[1]) for row in rows]


def package_of_submission(session: Session, submission: Submission) -> Package | None:
    """Return a submission's package, None until it is issued."""
    return session.exec(
        select(Package).where(Package.project_id == submission.project_id, Package.submission_id == submission.id)
    ).one_or_none()


def find_upload(session: Session, project_id: UUID, upload_id: UUID) -> SignatureUpload:
    """Return a file that was sent in to a project's package, as it is now."""
    found = session.get(SignatureUpload, (project_id, upload_id), populate_existing=True)
    return required(found, "upload", upload_id)


def same_upload(session: Session, package: Package, role: SignatureRole, sha256: str) -> SignatureUpload | None:
    """Return what was sent in for a package with the same bytes and for the same role before."""
    statement = select(SignatureUpload).where(
        SignatureUpload.project_id == package.project_id,
        SignatureUpload.package_id == package.id,
        SignatureUpload.role == role,
        SignatureUpload.sha256 == sha256,
    )
    return session.exec(statement).one_or_none()


def keep_upload(session: Session, upload: SignatureUpload) -> SignatureUpload:
    """Add a file that was sent in, or say of the one with its id what is so now."""
    kept = session.merge(upload)
    session.flush()
    return kept


def decision_on(session: Session, package: Package) -> Decision | None:
    """Return the decision on a package; None until it is decided."""
    return session.get(Decision, (package.project_id, package.id))


def decision_made(session: Session, package: Package) -> Decision:
    """Return the decision on a package that is decided."""
    return session.get_one(Decision, (package.project_id, package.id))


def acceptances_of(session: Session, route: Route) -> Sequence[Acceptance]:
    """Return every acceptance of a route's segments, withdrawn ones too."""
    return session.exec(select(Acceptance).where(*of_route(Acceptance, route))).all()


def standing_acceptances(session: Session, route: Route) -> dict[str, Acceptance]:
    """Return the acceptance that stands of each accepted segment."""
    return {one.segment_id: one for one in acceptances_of(session, route) if one.withdrawn_at is None}


def accepted_segments(session: Session, project_id: UUID, route_id: UUID) -> list[str]:
    """Return the segments whose acceptance stands, in order of name, by ids alone: settling asks no more."""
    is_of_route = col(Acceptance.project_id) == project_id, col(Acceptance.route_id) == route_id
    statement = select(Acceptance.segment_id).where(*is_of_route, col(Acceptance.withdrawn_at).is_(None))
    return sorted(session.exec(statement))


def accept_segment(session: Session, route: Route, package: Package, segment: str, *, now: datetime) -> None:
    """Add the acceptance of a segment under its route's lock, numbered after those before it."""
    numbers = select(func.max(Acceptance.number)).where(*of_route(Acceptance, route), Acceptance.segment_id == segment)
    acceptance = Acceptance(
        project_id=route.project_id,
        route_id=route.id,
        segment_id=segment,
        number=(session.exec(numbers).one() or 0) + 1,
        package_id=package.id,
        accepted_at=now,
    )
    add_rows(session, [acceptance])
