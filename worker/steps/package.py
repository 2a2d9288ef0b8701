"""Make the signed package of a submission.

Started by: a `package` job, due when segments are submitted.
Writes: the package with its certified file, in which the contractor's declaration is printed, and the submission as
issued, or parked if the verdict submitted was made by an older engine, or the frozen set gives another: then nothing is
signed.
Leaves: nothing; the engineer decides.
"""

import gc
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from uuid import uuid4

import structlog
from sqlmodel import Session

from service.actions.acceptance.deeming import deemed_at
from service.actions.acceptance.submissions import reopen
from service.errors import ConflictError
from service.storage import jobs
from service.storage.access import forget_once_printed
from service.storage.jobs import Lease
from service.storage.packages import SignedFile, add_files
from service.storage.routes import lock_route, raise_version
from service.storage.session import add_rows, snapshot, transaction
from service.storage.submissions import find_submission, hold_segments
from service.storage.tables import Package, Submission
from service.vocabulary.states import JobKind, JobState, SubmissionState
from worker.jobs.context import StepContext, audit_package
from worker.jobs.runner import HopelessError, LeftToNewerError, Step
from worker.jobs.submission_snapshot import content_of, judge_from_scratch, new_verification_code, read_snapshot
from worker.judgement.judge import ENGINE
from worker.judgement.numbers.exact import last_place, parts_text, reading_text
from worker.package.archive.document import Packed, pack
from worker.package.data.attachments import attached_files
from worker.package.data.content import PackageContent
from worker.package.data.declarations import declarations
from worker.package.document_model import PackageView
from worker.package.fonts.font_metrics import load_faces
from worker.package.pages.drawing import SIGNATURE_BOXES, SIGNING_PAGE, draw
from worker.package.pictures.fixed_point import to_fixed
from worker.package.view import build_view
from worker.sealing.levels import planned_seal, sealed_file, sealing_for
from worker.signing.make.certify import certify
from worker.signing.make.sealing import Sealing

log = structlog.get_logger()


def run(context: StepContext, lease: Lease) -> None:
    """Judge the frozen set, draw, sign, read back, keep."""
    with transaction(context.engine) as session:
        _take_up(session, lease)
    key = context.load_key()
    # They stay: read while fibres are judged, they would keep the memory around them from going too.
    load_faces()
    prepared, view, files = _prepare(context, lease, is_demonstration=key.is_demonstration)
    if view.missing_glyphs:
        code_points = [one.code_point for one in view.missing_glyphs]
        log.warning("package.glyphs_missing", submission_id=str(lease.subject_id), code_points=code_points)
    unsigned = draw(view, attachments=files)
    # Signing needs as much memory as the rows of all tables, and the files are in what is signed.
    del view, files
    _give_memory_back()
    context.come_forward()
    made_at = prepared.content.made_at
    signed = certify(
        unsigned,
        key=key,
        signed_at=made_at,
        reason=_reason(prepared.content),
        boxes=SIGNATURE_BOXES,
        page=SIGNING_PAGE,
        sealing=prepared.sealing,
    )
    context.blobs.put(signed.pdf)
    context.come_forward()
    with transaction(context.engine) as session:
        package = _issue(session, lease, prepared, certified=sealed_file(signed, key=key, at=made_at))
        audit_package(session, package, "package.signed", content_sha256=package.certified_sha256, at=made_at)


def _give_memory_back() -> None:
    """Let go of what is remembered of texts: it lies all over the memory that judging took, and keeps it from going."""
    for remembered in (last_place, parts_text, reading_text, to_fixed):
        remembered.cache_clear()
    gc.collect()


def _take_up(session: Session, lease: Lease) -> None:
    """Open a submission that was given up once more, unless another has taken its place."""
    route = lock_route(session, [lease.project_id], _submission(session, lease).route_id)
    submission = _submission(session, lease)
    if submission.engine_version > ENGINE:
        raise LeftToNewerError
    if submission.engine_version < ENGINE:
        raise HopelessError(
            f"The verdict submitted was made by engine {submission.engine_version}, this program judges by engine "
            f"{ENGINE}: nothing was signed. The route is judged anew by itself; look at its verdict and submit again."
        )
    if submission.state is SubmissionState.PARKED:
        try:
            reopen(session, route, submission)
        except ConflictError as error:
            raise HopelessError(error.detail) from error


def park(session: Session, lease: Lease, reason: str) -> None:
    """Say why no package was made, and let the segments be submitted again."""
    route = lock_route(session, [lease.project_id], _submission(session, lease).route_id)
    submission = _submission(session, lease)
    submission.state, submission.problem = SubmissionState.PARKED, reason
    hold_segments(session, submission, is_open=False)
    raise_version(route)


STEP = Step(run=run, hard_limit_s=600, states_times=True, on_parked=park)


@dataclass(frozen=True, kw_only=True)
class _Prepared:
    """A package beside its view, in which fibres and records stand: here its content has neither any more.

    `attached` is the SHA-256 of each file by its name.
    """

    content: PackageContent
    sealing: Sealing
    attached: dict[str, str]


def _prepare(
    context: StepContext, lease: Lease, *, is_demonstration: bool
) -> tuple[_Prepared, PackageView, Mapping[str, Packed]]:
    sealing, content = _judge_anew(context, lease, is_demonstration=is_demonstration)
    files = {name: _keep_and_pack(context, parts) for name, parts in attached_files(content)}
    # Drawing and signing need as much memory again as the fibres and records, which have no more to say then.
    # The digests of the fibres in the verdict too: each lies among what judging made of its fibre.
    bare = replace(content, fibres=(), records=(), verdict={**content.verdict, "fibres": []})
    attached = {name: file.sha256 for name, file in files.items()}
    return _Prepared(content=bare, sealing=sealing, attached=attached), build_view(content), files


def _judge_anew(context: StepContext, lease: Lease, *, is_demonstration: bool) -> tuple[Sealing, PackageContent]:
    with snapshot(context.engine) as session:
        submission = _submission(session, lease)
        taken = read_snapshot(session, submission)
    altered = sum(one.is_altered for one in taken.evidence)
    if altered:
        raise HopelessError(f"{altered} records are not what was hashed when they came; nothing was signed.")
    documents, verdict = judge_from_scratch(taken.by, taken.evidence, come_forward=context.come_forward)
    if verdict.digest != submission.verdict_digest:
        raise HopelessError(
            f"The frozen record set gives verdict {verdict.digest}, not the one submitted; nothing was signed."
        )
    sealing = sealing_for(context, taken.by.criteria)
    content = content_of(
        taken,
        documents,
        verdict,
        verification_code=new_verification_code(),
        public_url=context.settings.public_url,
        is_demonstration=is_demonstration,
        seal=planned_seal(context, sealing),
        # The one reading of the clock: what is printed, signed, recorded and told is one time.
        made_at=context.clock(),
    )
    return sealing, content


def _keep_and_pack(context: StepContext, parts: Iterable[bytes]) -> Packed:
    with context.blobs.receive() as blob:
        packed = pack(_passed_on(parts, blob.write))
        blob.keep()
    context.come_forward()
    return packed


def _passed_on(parts: Iterable[bytes], write: Callable[[bytes], None]) -> Iterator[bytes]:
    for part in parts:
        write(part)
        yield part


def _submission(session: Session, lease: Lease) -> Submission:
    return find_submission(session, [lease.project_id], lease.subject_id)


def _issue(session: Session, lease: Lease, prepared: _Prepared, *, certified: SignedFile) -> Package:
    content, attached = prepared.content, prepared.attached
    submission = _submission(session, lease)
    route = lock_route(session, [lease.project_id], submission.route_id)
    # Before a package is made due to be deemed, and long before the head row: a lost lease may write nothing.
    jobs.hold(session, lease)
    package = Package(
        project_id=lease.project_id,
        id=uuid4(),
        submission_id=submission.id,
        route_id=route.id,
        number=content.number,
        verification_code=content.verification_code,
        certified_sha256=certified.sha256,
        certified_level=certified.level,
        current_sha256=certified.sha256,
        current_level=certified.level,
        findings_sha256=attached["findings.json"],
        attached=attached,
        audit_sequence=content.audit.sequence,
        audit_hash=content.audit.hash,
        issued_at=content.made_at,
        deemed_at=deemed_at(content.criteria, submission, content.verdict, issued_at=content.made_at),
    )
    add_rows(session, [package])
    add_files(session, package, [certified])
    if package.deemed_at is not None:
        delay = package.deemed_at - content.made_at
        jobs.make_due(session, JobKind.DEEM, project_id=lease.project_id, subject_id=package.id, delay=delay)
    submission.state = SubmissionState.ISSUED
    raise_version(route)
    jobs.release(session, lease, JobState.DONE)
    forget_once_printed(session, lease.project_id, [submission.responsible_person])
    return package


def _reason(content: PackageContent) -> str:
    said = declarations(content)["service"]
    return f"{said} Verdict SHA-256 {content.verdict_digest}."
