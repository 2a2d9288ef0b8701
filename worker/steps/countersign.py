"""Close a decided package with the service's seal over the recorded decision.

Started by: a `countersign` job, due when a package is decided, unless the engineer signs with a key of their own.
Writes: the sealed file as the package's current one; the certified one stays as it was.
Leaves: itself due where the package got another file meanwhile; else nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import orjson
from sqlmodel import Session, select

from service.storage import jobs
from service.storage.head import record_deed
from service.storage.jobs import JobState, Lease
from service.storage.package_files import SignedFile, add_files, signatures_of
from service.storage.people import forget_once_printed
from service.storage.routes import criteria_row, lock_route, parse_criteria, raise_version
from service.storage.session import snapshot, transaction
from service.storage.tables import Decision, Package, PackageFile, Person, Token
from service.storage.verdicts import submission_of_package
from service.vocabulary.criteria import Criteria
from service.vocabulary.signatures import SignatureRole, SignedBy
from worker.signing.pinning import pinned_signers
from worker.steps.context import StepContext
from worker.steps.deeds import deed_to
from worker.steps.levels import sealing_for
from worker.steps.running import Step
from worker.steps.sealing import Act, seal_act


@dataclass(frozen=True, kw_only=True)
class Decided:
    """A decided package: whose word it was, on what, under which criteria, and who has signed before."""

    package: Package
    criteria: Criteria
    decision: Decision
    engineer: str | None
    engineer_name: str
    signatures: Sequence[PackageFile]


def run(context: StepContext, lease: Lease) -> None:
    """Seal the decision into the package's reserved field, read back, keep."""
    with snapshot(context.engine) as session:
        decided = _read(session, lease)
    sealed = None if _has_signed(decided.signatures) else _seal(context, decided)
    with transaction(context.engine) as session:
        _write(session, lease, context, decided, sealed)


STEP = Step(run=run, hard_limit_s=600, states_times=True, waits_for_ever=True)


def _read(session: Session, lease: Lease) -> Decided:
    package = _package(session, lease)
    decision = session.exec(
        select(Decision).where(Decision.project_id == package.project_id, Decision.package_id == package.id)
    ).one()
    token = None if decision.token_id is None else session.get(Token, decision.token_id)
    holder = None if token is None else token.holder
    name = _printed_name(session, decision, holder)
    version = submission_of_package(session, package).criteria_version
    return Decided(
        package=package,
        criteria=parse_criteria(criteria_row(session, package.project_id, version).document),
        decision=decision,
        engineer=holder,
        engineer_name=name,
        signatures=signatures_of(session, package),
    )


def _printed_name(session: Session, decision: Decision, holder: str | None) -> str:
    """Return the name that the decision froze; of one made before names were frozen, the name as it is now."""
    if decision.decided_by_name is not None:
        return f"{decision.decided_by_name}, {decision.decided_by_position}"
    person = None if holder is None else session.get(Person, (decision.project_id, holder))
    return holder or "holder of the engineer's token" if person is None else f"{person.name}, {person.role}"


def _package(session: Session, lease: Lease) -> Package:
    return session.exec(
        select(Package).where(Package.project_id == lease.project_id, Package.id == lease.subject_id)
    ).one()


def _has_signed(signatures: Sequence[PackageFile]) -> bool:
    """Tell whether the engineer's place is taken: by the engineer's own key, before the clock decided."""
    return any(file.role == SignatureRole.ENGINEER.value for file in signatures)


def _seal(context: StepContext, decided: Decided) -> SignedFile:
    pdf = context.blobs.get(decided.package.current_sha256)
    # By the fingerprints that were registered when these signatures were taken; they may have been retired since.
    own_keys = {file.certificate_sha256 for file in decided.signatures if file.signed_by == SignedBy.OWN_KEY.value}
    act = Act(
        role=SignatureRole.ENGINEER,
        person=decided.engineer,
        reason=f"decision, SHA-256 {decided.decision.sha256}",
        stamp_lines=_stamp_lines(decided),
    )
    sealed, file = seal_act(
        context,
        pdf,
        act,
        key=context.load_key(),
        sealing=sealing_for(context, decided.criteria),
        trust=pinned_signers(pdf, own_keys),
    )
    context.blobs.put(sealed)
    return file


def _stamp_lines(decided: Decided) -> list[str]:
    words = orjson.loads(decided.decision.document)
    by_word: dict[str, list[str]] = {}
    for segment, word in words["segments"].items():
        by_word.setdefault(word, []).append(segment)
    days = words.get("deemed_after_days")
    deemed = "" if days is None else "deemed "
    lines = [f"{deemed}{word}: {', '.join(sorted(segments))}" for word, segments in sorted(by_word.items())]
    if words.get("concessions_granted"):
        lines.append(f"concessions granted: {', '.join(map(str, words['concessions_granted']))}")
    return [
        *lines,
        f"decided by {decided.engineer_name}" if days is None else f"no decision within {days} days of issue",
        f"{decided.decision.decided_at:%Y-%m-%d %H:%M} UTC",
        "service's seal over the recorded decision",
    ]


def _write(session: Session, lease: Lease, context: StepContext, decided: Decided, sealed: SignedFile | None) -> None:
    route = lock_route(session, [lease.project_id], decided.package.route_id)
    package = _package(session, lease)
    if sealed is not None and package.current_sha256 != decided.package.current_sha256:
        # The contractor's own signature came in between: the seal has to follow it.
        jobs.release(session, lease, JobState.DUE)
        return
    jobs.release(session, lease, JobState.DONE)
    if sealed is None:
        return
    add_files(session, package, [sealed])
    if decided.engineer is not None:
        forget_once_printed(session, lease.project_id, [decided.engineer])
    raise_version(route)
    deed = deed_to(package, action="package.sealed", content_sha256=sealed.sha256, at=context.clock())
    record_deed(session, lease.project_id, deed)
