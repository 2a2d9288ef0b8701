"""Make the signed package of a submission.

Started by: a `package` job, due when segments are submitted.
Writes: the package with its certified file, sealed once more over the submission unless the contractor signs with a key
of their own, and the submission as issued, or parked if the frozen set gives another
verdict than the one submitted: then nothing is signed.
Leaves: nothing; the engineer decides.
"""

from collections.abc import Sequence
from uuid import uuid4

from sqlalchemy import update
from sqlmodel import Session, col, select

from service.actions.deeming import deemed_at
from service.storage import jobs
from service.storage.head import Deed, record_deed
from service.storage.jobs import JobKind, JobState, Lease
from service.storage.package_files import SignedFile, add_files
from service.storage.routes import lock_route, raise_version
from service.storage.session import snapshot, transaction
from service.storage.tables import Package, Submission, SubmissionSegment
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.signatures import SignatureRole, SignedBy
from worker.package.attachments import attachments
from worker.package.content import PackageContent
from worker.package.drawing import SIGNATURE_BOXES, draw
from worker.package.view import build_view
from worker.signing.certify import certify
from worker.signing.fields import SignatureBoxes
from worker.signing.keys import SigningKey
from worker.steps.context import StepContext
from worker.steps.frozen import Frozen, altered_records, content_of, judge_frozen, new_verification_code, read_frozen
from worker.steps.running import HopelessError, Step
from worker.steps.sealing import seal_act


def run(context: StepContext, lease: Lease) -> None:
    """Judge the frozen set, draw, sign, read back, keep."""
    with snapshot(context.engine) as session:
        submission = _submission(session, lease)
        frozen = read_frozen(session, submission)
    altered = altered_records(frozen)
    if altered:
        raise HopelessError(f"{altered} records are not what was hashed when they came; nothing was signed.")
    fibres, verdict = judge_frozen(frozen)
    if verdict.digest != submission.verdict_digest:
        raise HopelessError(
            f"The frozen record set gives verdict {verdict.digest}, not the one submitted; nothing was signed."
        )
    key = context.load_key()
    content = content_of(
        frozen,
        fibres,
        verdict,
        verification_code=new_verification_code(),
        public_url=context.settings.public_url,
        is_demonstration=key.is_demonstration,
    )
    files = attachments(content)
    signed = certify(
        draw(build_view(content), attachments=files),
        key=key,
        signed_at=context.clock(),
        reason=f"Verdict {verdict.digest}: these are the findings of the records submitted.",
        boxes=SignatureBoxes(**SIGNATURE_BOXES),
    )
    made = [_certified(signed, key=key, context=context)]
    context.blobs.put(signed)
    if submission.signature == SignedBy.SERVICE_SEAL.value:
        sealed, file = _seal_submission(context, signed, key=key, frozen=frozen)
        context.blobs.put(sealed)
        made.append(file)
    attached = {name: context.blobs.put(file) for name, file in files.items()}
    with transaction(context.engine) as session:
        package = _issue(session, lease, content, context, files=made, attached=attached)
        record_deed(session, lease.project_id, _signed(package))


def park(session: Session, lease: Lease, reason: str) -> None:
    """Say why no package was made, and let the segments be submitted again."""
    route = lock_route(session, [lease.project_id], _submission(session, lease).route_id)
    session.execute(
        update(Submission)
        .where(col(Submission.project_id) == lease.project_id, col(Submission.id) == lease.subject_id)
        .values(state="parked", problem=reason)
    )
    session.execute(
        update(SubmissionSegment)
        .where(
            col(SubmissionSegment.project_id) == lease.project_id,
            col(SubmissionSegment.submission_id) == lease.subject_id,
        )
        .values(is_open=False)
    )
    raise_version(route)


STEP = Step(run=run, lease_s=lambda context: context.settings.package_lease_s, on_parked=park)


def _submission(session: Session, lease: Lease) -> Submission:
    return session.exec(
        select(Submission).where(Submission.project_id == lease.project_id, Submission.id == lease.subject_id)
    ).one()


def _issue(
    session: Session,
    lease: Lease,
    content: PackageContent,
    context: StepContext,
    *,
    files: Sequence[SignedFile],
    attached: dict[str, str],
) -> Package:
    submission = _submission(session, lease)
    route = lock_route(session, [lease.project_id], submission.route_id)
    jobs.hold(session, lease)
    package = Package(
        project_id=lease.project_id,
        id=uuid4(),
        submission_id=submission.id,
        route_id=route.id,
        number=content.number,
        verification_code=content.verification_code,
        certified_sha256=files[0].sha256,
        current_sha256=files[-1].sha256,
        findings_sha256=attached["findings.json"],
        attached=attached,
        issued_at=(issued_at := context.clock()),
        deemed_at=deemed_at(content.criteria, submission, content.verdict, issued_at=issued_at),
    )
    session.add(package)
    session.flush()
    add_files(session, package, files)
    if package.deemed_at is not None:
        delay = package.deemed_at - issued_at
        jobs.make_due(session, JobKind.DEEM, project_id=lease.project_id, subject_id=package.id, delay=delay)
    submission.state = "issued"
    raise_version(route)
    jobs.release(session, lease, JobState.DONE)
    return package


def _certified(signed: bytes, *, key: SigningKey, context: StepContext) -> SignedFile:
    return SignedFile(
        sha256=sha256_hex(signed),
        role=None,
        signed_by=SignedBy.SERVICE_SEAL,
        person=None,
        certificate_sha256=key.certificate_sha256,
        signed_at=context.clock(),
    )


def _seal_submission(
    context: StepContext, certified: bytes, *, key: SigningKey, frozen: Frozen
) -> tuple[bytes, SignedFile]:
    submission = frozen.submission
    lines = [f"submitted: {', '.join(sorted(submission.segments))}"]
    if submission.concessions:
        lines.append(f"concessions asked: {len(submission.concessions)}")
    return seal_act(
        context,
        certified,
        key=key,
        role=SignatureRole.CONTRACTOR,
        person=submission.responsible_person,
        act=f"submission {submission.id}, verdict SHA-256 {submission.verdict_digest}",
        stamp_lines=[
            *lines,
            f"responsible: {frozen.responsible_person}",
            f"{submission.submitted_at:%Y-%m-%d %H:%M} UTC",
            "service's seal over the recorded submission",
        ],
    )


def _signed(package: Package) -> Deed:
    return Deed(
        at=package.issued_at,
        actor="worker",
        action="package.signed",
        subject=str(package.id),
        content_sha256=package.certified_sha256,
    )
