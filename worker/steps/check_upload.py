"""Check a package that somebody signed with a key of their own, and take it as the package's current file.

Started by: a `check_upload` job, due when a signed file is sent in.
Writes: the upload as taken, with the package's new file, to which the service's time stamp is added where a time
authority is named; or as refused, with what is wrong with it.
Leaves: nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from sqlmodel import Session

from service.actions.acceptance.signatures import signer_of
from service.errors import ConflictError
from service.settings import CLOCK_TOLERANCE
from service.storage import jobs
from service.storage.access import fingerprints_of
from service.storage.criteria import criteria_of
from service.storage.jobs import Lease
from service.storage.packages import (
    SignedFile,
    add_files,
    find_package,
    find_upload,
    signatures_of,
    submission_of_package,
)
from service.storage.routes import lock_route, raise_version
from service.storage.session import snapshot, transaction
from service.storage.tables import Package, SignatureUpload
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.signatures import SignatureLevel, SignaturePlace, SignatureRole, SignedBy, UploadState
from service.vocabulary.states import JobState
from worker.jobs.context import StepContext, audit_package
from worker.jobs.runner import Step
from worker.sealing.foreign_files import check_in_limits, pinned_in_limits
from worker.sealing.levels import level_asked
from worker.signing.check.uploaded import Expected, UploadReport
from worker.signing.fields import RESERVED
from worker.signing.make.pdf_signer import stamp_document
from worker.signing.report import SignatureReport
from worker.signing.trust.role_trust import RoleTrust

_OVERTAKEN = "The package has another file by now, with another signature in it: sign that one."


@dataclass(frozen=True, kw_only=True)
class Sent:
    """A signed file that was sent in, its package, and by which certificates people sign it."""

    upload: SignatureUpload
    package: Package
    criteria: Criteria
    fingerprints: Sequence[str]
    signed_before: Sequence[str]


def run(context: StepContext, lease: Lease) -> None:
    """Check the file, then take it if the package is still as it was."""
    with snapshot(context.engine) as session:
        sent = _read(session, lease)
    now = context.clock()
    checked = None if sent.upload.state is UploadState.TAKEN else _check(context, sent, now=now)
    with transaction(context.engine) as session:
        _write(session, lease, checked, now=now)


def park(session: Session, lease: Lease, reason: str) -> None:
    """Say that the file could not be checked; sent in again it is looked at once more."""
    lock_route(session, [lease.project_id], _rows(session, lease)[1].route_id)
    upload, _ = _rows(session, lease)
    upload.state, upload.problems = UploadState.REFUSED, [f"The file could not be checked: {reason}"]


# The file is read in a process of its own: no worker ends with it, and one that was killed says nothing of the file.
STEP = Step(run=run, hard_limit_s=300, states_times=True, counts_ended=False, on_parked=park)


def _read(session: Session, lease: Lease) -> Sent:
    upload, package = _rows(session, lease)
    files = signatures_of(session, package)
    submission = submission_of_package(session, package)
    return Sent(
        upload=upload,
        package=package,
        criteria=criteria_of(session, package.project_id, submission.criteria_version),
        fingerprints=fingerprints_of(session, upload.project_id, upload.signer),
        signed_before=[file.certificate_sha256 for file in files if file.signed_by is SignedBy.OWN_KEY],
    )


def _rows(session: Session, lease: Lease) -> tuple[SignatureUpload, Package]:
    upload = find_upload(session, lease.project_id, lease.subject_id)
    return upload, find_package(session, [lease.project_id], upload.package_id)


@dataclass(frozen=True, kw_only=True)
class Checked:
    """What was found of a file, and the file that is kept of it where nothing is wrong."""

    report: UploadReport
    sha256: str


def _check(context: StepContext, sent: Sent, *, now: datetime) -> Checked:
    authorities, pdf = context.authorities(), context.blobs.get(sent.upload.sha256)
    expected = Expected(
        current=context.blobs.get(sent.upload.base_sha256),
        field=RESERVED[SignaturePlace(sent.upload.role)],
        fingerprints=sent.fingerprints,
        signed_before=sent.signed_before,
        level=level_asked(sent.criteria),
        is_stamped_after=authorities is not None,
        earliest=sent.package.issued_at - CLOCK_TOLERANCE,
        latest=now + CLOCK_TOLERANCE,
    )
    report = check_in_limits(
        pdf,
        expected=expected,
        trust=context.trust(),
        now=now,
        time_trust=context.time_trust() or None,
        come_forward=context.come_forward,
    )
    if report.problems or report.is_stamped or authorities is None:
        return Checked(report=report, sha256=sent.upload.sha256)
    # An authority that is away is no fault of the file's: the job is tried again, and nothing is taken before.
    trust = _trust(context, sent, pdf)
    stamped = stamp_document(pdf, authorities=authorities, trust=trust, now=now)
    context.blobs.put(stamped.pdf)
    return Checked(report=replace(report, level=stamped.report.level), sha256=stamped.report.sha256)


def _trust(context: StepContext, sent: Sent, pdf: bytes) -> RoleTrust:
    """Return whom to trust in which place: whoever signed before did so in the other one."""
    trust = RoleTrust(service=context.trust(), time=context.time_trust() or None)
    for role in SignatureRole:
        fingerprints = sent.fingerprints if role is sent.upload.role else sent.signed_before
        people = pinned_in_limits(pdf, fingerprints, come_forward=context.come_forward)
        trust = trust.and_in(RESERVED[SignaturePlace(role)], people)
    return trust


def _write(session: Session, lease: Lease, checked: Checked | None, *, now: datetime) -> None:
    route = lock_route(session, [lease.project_id], _rows(session, lease)[1].route_id)
    upload, package = _rows(session, lease)
    # A lost lease ends here, and nothing is written.
    jobs.release(session, lease, JobState.DONE)
    if checked is None:
        return
    report = checked.report
    problems = list(report.problems) or list(_changed_meanwhile(session, upload, package, report.signature))
    upload.state = UploadState.REFUSED if problems else UploadState.TAKEN
    upload.problems, upload.checked_at = problems, now
    if problems or report.signature is None or report.level is None:
        return
    add_files(session, package, [_file_of(upload, report.signature, report.level, sha256=checked.sha256)])
    raise_version(route)
    audit_package(session, package, "signature.taken", content_sha256=checked.sha256, at=now)


def _changed_meanwhile(
    session: Session, upload: SignatureUpload, package: Package, signature: SignatureReport | None
) -> Iterator[str]:
    """Give what speaks against a good file now, under the route's lock."""
    if package.current_sha256 != upload.base_sha256:
        yield _OVERTAKEN
        return
    if signature is None or signature.certificate_sha256 not in fingerprints_of(
        session, upload.project_id, upload.signer
    ):
        yield "The certificate that signed was retired."
    try:
        signer = signer_of(session, package, upload.role)
    except ConflictError as error:
        yield error.detail
        return
    if signer != upload.signer:
        yield "Another person has to sign here."


def _file_of(upload: SignatureUpload, signature: SignatureReport, level: SignatureLevel, *, sha256: str) -> SignedFile:
    assert signature.signed_at is not None
    return SignedFile(
        sha256=sha256,
        role=SignaturePlace(upload.role),
        signed_by=SignedBy.OWN_KEY,
        person=upload.signer,
        certificate_sha256=signature.certificate_sha256,
        signed_at=signature.signed_at,
        level=level,
    )
