"""Close a decided package with the service's seal over the recorded decision.

Started by: a `countersign` job, due when a package is decided.
Writes: the countersigned file beside the certified one, which stays as it was.
Leaves: nothing.
"""

from dataclasses import dataclass

import orjson
from sqlmodel import Session, select

from service.storage import jobs
from service.storage.head import Deed, record_deed
from service.storage.jobs import JobState, Lease
from service.storage.routes import criteria_row, lock_route, parse_criteria, raise_version
from service.storage.session import snapshot, transaction
from service.storage.tables import Decision, Package, Person, Token
from service.storage.verdicts import submission_of_package
from service.vocabulary.criteria import Criteria
from service.vocabulary.signature_level import SignatureLevel
from worker.package.typeface import REGULAR_FONT
from worker.signing.countersign import countersign
from worker.steps.context import StepContext
from worker.steps.levels import read_level, sealing_for
from worker.steps.running import Step


@dataclass(frozen=True, kw_only=True)
class Decided:
    """A decided package: whose word it was, and on what, under which criteria."""

    package: Package
    criteria: Criteria
    decision: Decision
    engineer: str


def run(context: StepContext, lease: Lease) -> None:
    """Seal the decision into the package's reserved field, read back, keep."""
    with snapshot(context.engine) as session:
        decided = _read(session, lease)
    key = context.load_key()
    sealed = countersign(
        context.blobs.get(decided.package.certified_sha256),
        key=key,
        signed_at=context.clock(),
        reason=f"Service's seal over the recorded decision, SHA-256 {decided.decision.sha256}",
        stamp_lines=_stamp_lines(decided),
        font_file=REGULAR_FONT,
        trust=context.trust,
        time_trust=context.time_trust,
        sealing=sealing_for(context, decided.criteria),
    )
    level = read_level(context, sealed, key=key)
    sha256 = context.blobs.put(sealed)
    with transaction(context.engine) as session:
        _write(session, lease, context, sha256=sha256, level=level)


STEP = Step(run=run, lease_s=lambda context: context.settings.package_lease_s)


def _read(session: Session, lease: Lease) -> Decided:
    package = _package(session, lease)
    decision = session.exec(
        select(Decision).where(Decision.project_id == package.project_id, Decision.package_id == package.id)
    ).one()
    token = None if decision.token_id is None else session.get(Token, decision.token_id)
    holder = None if token is None else token.holder
    person = None if holder is None else session.get(Person, (package.project_id, holder))
    name = holder or "holder of the engineer's token" if person is None else f"{person.name}, {person.role}"
    version = submission_of_package(session, package).criteria_version
    criteria = parse_criteria(criteria_row(session, package.project_id, version).document)
    return Decided(package=package, criteria=criteria, decision=decision, engineer=name)


def _package(session: Session, lease: Lease) -> Package:
    return session.exec(
        select(Package).where(Package.project_id == lease.project_id, Package.id == lease.subject_id)
    ).one()


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
        f"decided by {decided.engineer}" if days is None else f"no decision within {days} days of issue",
        f"{decided.decision.decided_at:%Y-%m-%d %H:%M} UTC",
        "service's seal over the recorded decision",
    ]


def _write(session: Session, lease: Lease, context: StepContext, *, sha256: str, level: SignatureLevel) -> None:
    route = lock_route(session, [lease.project_id], _package(session, lease).route_id)
    package = _package(session, lease)
    jobs.hold(session, lease)
    package.countersigned_sha256 = sha256
    package.countersigned_level = level.value
    raise_version(route)
    jobs.release(session, lease, JobState.DONE)
    deed = Deed(
        at=context.clock(), actor="worker", action="package.sealed", subject=str(package.id), content_sha256=sha256
    )
    record_deed(session, lease.project_id, deed)
