"""Close a decided package with the service's seal over the recorded decision.

Started by: a `countersign` job, due when a package is decided.
Writes: the sealed file as the package's current one; the certified one stays as it was.
Leaves: itself due where the package got another file meanwhile; else nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import orjson
from sqlmodel import Session

from service.storage import jobs
from service.storage.access import decided_by, forget_once_printed, holder_of, project_of
from service.storage.criteria import criteria_of
from service.storage.jobs import Lease
from service.storage.packages import (
    SignedFile,
    add_files,
    decision_made,
    find_package,
    signatures_of,
    submission_of_package,
)
from service.storage.routes import lock_route, raise_version
from service.storage.session import snapshot, transaction
from service.storage.tables import Decision, Package, PackageFile, Submission
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.signatures import SignaturePlace, SignedBy
from service.vocabulary.states import JobState
from worker.jobs.context import StepContext, audit_package
from worker.jobs.runner import Step
from worker.package.fonts.text_style import REGULAR_FONT
from worker.sealing.decision_words import SpokenDecision, declare
from worker.sealing.foreign_files import pinned_in_limits
from worker.sealing.levels import sealed_file, sealing_for
from worker.signing.fields import DECISION_FIELD, ENGINEER_FIELD, RESERVED
from worker.signing.make.countersign import countersign, fields_of
from worker.signing.trust.role_trust import RoleTrust


@dataclass(frozen=True, kw_only=True)
class Decided:
    """A decided package: what was decided and by whom, under which criteria, and who has signed before."""

    package: Package
    criteria: Criteria
    spoken: SpokenDecision
    engineer: str | None
    signatures: Sequence[PackageFile]


def run(context: StepContext, lease: Lease) -> None:
    """Seal the decision into the field that is reserved for it, read back, keep."""
    with snapshot(context.engine) as session:
        decided = _read(session, lease)
    pdf = context.blobs.get(decided.package.current_sha256)
    place = place_for(pdf, is_signed_after=decided.spoken.is_signed_after)
    sealed = None if place is None else _seal(context, decided, pdf, place=place)
    with transaction(context.engine) as session:
        _write(session, lease, decided, sealed)


def place_for(pdf: bytes, *, is_signed_after: bool) -> SignaturePlace | None:
    """Return where a decision is sealed into a package; nowhere if it is already.

    Packages of earlier releases keep no place for it: there the seal takes the engineer's, if no own key does.
    """
    is_empty = fields_of(pdf)
    if DECISION_FIELD in is_empty:
        return SignaturePlace.DECISION if is_empty[DECISION_FIELD] else None
    return SignaturePlace.ENGINEER if is_empty[ENGINEER_FIELD] and not is_signed_after else None


STEP = Step(run=run, hard_limit_s=600, states_times=True, waits_for_ever=True)


def _read(session: Session, lease: Lease) -> Decided:
    package = _package(session, lease)
    submission, decision = submission_of_package(session, package), decision_made(session, package)
    engineer = holder_of(session, decision.token_id)
    return Decided(
        package=package,
        criteria=criteria_of(session, package.project_id, submission.criteria_version),
        spoken=_spoken(session, submission, decision, engineer=engineer),
        engineer=engineer,
        signatures=signatures_of(session, package),
    )


def _spoken(session: Session, submission: Submission, decision: Decision, *, engineer: str | None) -> SpokenDecision:
    return SpokenDecision(
        words=orjson.loads(decision.document),
        sha256=decision.sha256,
        decided_at=decision.decided_at,
        segments=submission.segments,
        concessions_asked=len(submission.concessions),
        engineer=None if engineer is None else decided_by(session, decision, engineer),
        owner=project_of(session, decision.project_id).owner,
    )


def _package(session: Session, lease: Lease) -> Package:
    return find_package(session, [lease.project_id], lease.subject_id)


def _seal(context: StepContext, decided: Decided, pdf: bytes, *, place: SignaturePlace) -> SignedFile:
    # By the fingerprints that were registered when these signatures were taken; they may have been retired since.
    own_keys = {file.certificate_sha256 for file in decided.signatures if file.signed_by is SignedBy.OWN_KEY}
    # The engineer's place is empty yet: whoever signed with a key of their own is the contractor.
    contractor = pinned_in_limits(pdf, own_keys, come_forward=context.come_forward)
    declared, key = declare(decided.spoken), context.load_key()
    # Last, for reading the certificates takes seconds and the time authority's clock is compared with it.
    now = context.clock()
    sealed = countersign(
        pdf,
        key=key,
        signed_at=now,
        reason=declared.reason,
        stamps=declared.stamps,
        font_file=REGULAR_FONT,
        field=RESERVED[place],
        trust=RoleTrust(service=context.trust(), contractor=contractor, time=context.time_trust()),
        sealing=sealing_for(context, decided.criteria),
    )
    context.blobs.put(sealed.pdf)
    return sealed_file(sealed, key=key, at=now, role=place, person=decided.engineer)


def _write(session: Session, lease: Lease, decided: Decided, sealed: SignedFile | None) -> None:
    route = lock_route(session, [lease.project_id], decided.package.route_id)
    package = _package(session, lease)
    if sealed is not None and package.current_sha256 != decided.package.current_sha256:
        # The contractor's own signature came in between: the seal has to follow it.
        jobs.release(session, lease, JobState.DUE)
        # Each use of the key has its entry, whether the file was kept or not.
        audit_package(session, package, "package.seal_overtaken", content_sha256=sealed.sha256, at=sealed.signed_at)
        return
    jobs.release(session, lease, JobState.DONE)
    if sealed is None:
        return
    add_files(session, package, [sealed])
    if decided.engineer is not None:
        forget_once_printed(session, lease.project_id, [decided.engineer])
    raise_version(route)
    audit_package(session, package, "package.sealed", content_sha256=sealed.sha256, at=sealed.signed_at)
