"""Judge a submission's frozen record set from scratch, and put together what its package is drawn from."""

import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import orjson
from sqlmodel import Session

from service.storage.access import project_of, submitted_by
from service.storage.audit import audit_head
from service.storage.criteria import criteria_row, parse_criteria
from service.storage.packages import acceptances_of, decision_on, other_packages
from service.storage.records import StoredEvidence
from service.storage.routes import design_row, find_route, reply_to
from service.storage.submissions import annulment_reasons, end_reasons, read_frozen_evidence
from service.storage.tables import Acceptance, Package, Project, Route, Submission
from service.vocabulary.findings.concession import read_concession
from service.vocabulary.findings.finding import FibreDocument
from service.vocabulary.people import PrintedPerson
from worker.jobs.judging import EvidenceByFibre, PreparedRules, rules_from
from worker.judgement.route.pooling import locate_sites
from worker.judgement.route.settle import JudgedFibre, Verdict
from worker.package.data.content import (
    PAGES_FORM,
    AuditHead,
    Now,
    PackageContent,
    PackagedRecord,
    Seal,
    SupersededPackage,
    SupersededSegment,
    Word,
)
from worker.program import PROGRAM

# By package and segment.
_Acceptances = Mapping[tuple[UUID, str], Acceptance]


@dataclass(frozen=True, kw_only=True)
class SubmissionSnapshot:
    """What a submission froze: rows, and the rules that it is judged by."""

    submission: Submission
    project: Project
    route: Route
    by: PreparedRules
    design_agreed_at: datetime | None
    evidence: list[StoredEvidence]
    end_reasons: Mapping[str, str]
    annulment_reasons: Mapping[str, str]
    responsible_person: PrintedPerson
    earlier: Sequence[SupersededPackage]
    audit: tuple[int, str]


def read_snapshot(session: Session, submission: Submission) -> SubmissionSnapshot:
    """Read what a submission froze."""
    route = find_route(session, [submission.project_id], submission.route_id)
    design = design_row(session, route, revision=submission.design_revision)
    agreement = reply_to(session, route, submission.design_revision)
    criteria = criteria_row(session, submission.project_id, submission.criteria_version)
    return SubmissionSnapshot(
        submission=submission,
        project=project_of(session, submission.project_id),
        route=route,
        by=rules_from(design, parse_criteria(criteria.document), criteria_sha256=criteria.sha256),
        design_agreed_at=None if agreement is None else agreement.replied_at,
        evidence=read_frozen_evidence(session, route, submission.id),
        end_reasons=end_reasons(session, submission.project_id, submission.id),
        annulment_reasons=annulment_reasons(session, submission.project_id, submission.id),
        responsible_person=submitted_by(session, submission),
        earlier=_earlier_packages(session, route, submission),
        audit=audit_head(session, submission.project_id),
    )


def judge_from_scratch(
    by: PreparedRules, records: Sequence[StoredEvidence], *, come_forward: Callable[[], None]
) -> tuple[list[FibreDocument], Verdict]:
    """Judge a route by a set of records as if nothing had been judged before."""
    evidence = EvidenceByFibre(records, by=by)
    documents, fibres = list[FibreDocument](), list[JudgedFibre]()
    numbers = range(1, by.layout.design.fibre_count + 1)
    sightings = {}
    for number in numbers:
        sightings[number] = by.rules.sight(number, evidence.of(number))
        come_forward()
    spots = locate_sites(by.layout, by.criteria.placing, sightings)
    for number in numbers:
        judgement = by.rules.judge(number, evidence.of(number), spots=spots.of(number))
        come_forward()
        documents.append(judgement.document)
        fibres.append(JudgedFibre.of(judgement))
    return documents, by.settle(fibres, spots)


def content_of(
    taken: SubmissionSnapshot,
    fibres: Sequence[FibreDocument],
    verdict: Verdict,
    *,
    verification_code: str,
    public_url: str | None,
    is_demonstration: bool,
    seal: Seal,
    made_at: datetime,
) -> PackageContent:
    """Put together what the package is drawn from."""
    submission, project = taken.submission, taken.project
    return PackageContent(
        number=f"{taken.route.code}/{submission.number}",
        project_code=project.code,
        project_name=project.name,
        owner=project.owner,
        contractor=project.contractor,
        design=taken.by.layout.design,
        design_revision=submission.design_revision,
        design_sha256=taken.by.design_sha256,
        design_agreed_at=taken.design_agreed_at,
        criteria=taken.by.criteria,
        criteria_version=submission.criteria_version,
        criteria_sha256=taken.by.criteria_sha256,
        verdict=verdict.document,
        verdict_digest=verdict.digest,
        fibres=fibres,
        segments=submission.segments,
        supersedes=taken.earlier,
        concessions=[read_concession(one) for one in submission.concessions],
        responsible_person=taken.responsible_person.name,
        responsible_position=taken.responsible_person.position,
        contractor_signature=submission.signature,
        submitted_at=submission.submitted_at,
        made_at=made_at,
        records=list(_packaged_records(taken)),
        audit=AuditHead(sequence=taken.audit[0], hash=taken.audit[1]),
        verification_code=verification_code,
        verification_url=None if public_url is None else f"{public_url}v1/verifications/{verification_code}",
        is_demonstration=is_demonstration,
        program=PROGRAM,
        pages_form=PAGES_FORM,
        seal=seal,
    )


def new_verification_code() -> str:
    """Return a code that nobody can guess, in groups that a person can read out."""
    alphabet = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
    return "-".join("".join(secrets.choice(alphabet) for _ in range(4)) for _ in range(4))


def _packaged_records(taken: SubmissionSnapshot) -> Iterator[PackagedRecord]:
    """Give each record in order of when it was made."""
    for (_, id_), one in sorted({_order_of(one.body): one for one in taken.evidence}.items()):
        yield PackagedRecord(
            text=one.body,
            is_ended=one.is_ended,
            clock_is_flagged=one.clock_is_flagged,
            end_reason=taken.end_reasons.get(id_),
            annulment_reason=taken.annulment_reasons.get(id_),
            is_of_other_route=one.is_of_other_route,
        )


def _order_of(body: str) -> tuple[str, str]:
    record = orjson.loads(body)
    return record["made_at"], record["id"]


def _earlier_packages(session: Session, route: Route, submission: Submission) -> Sequence[SupersededPackage]:
    """Return the packages before a submission's with some of its segments, newest first."""
    before = [one for one in other_packages(session, submission) if one[1].number < submission.number]
    acceptances = {(one.package_id, one.segment_id): one for one in acceptances_of(session, route)}
    # Those that came after each one, and the one that is being made: the first with a segment takes its place.
    following = [(f"{route.code}/{submission.number}", frozenset(submission.segments))]
    earlier = []
    for package, theirs in before:
        if not following[-1][1].isdisjoint(theirs.segments):
            earlier.append(_earlier(session, package, theirs, acceptances=acceptances, following=following))
        following.insert(0, (package.number, frozenset(theirs.segments)))
    return earlier


def _earlier(
    session: Session,
    package: Package,
    theirs: Submission,
    *,
    acceptances: _Acceptances,
    following: Sequence[tuple[str, frozenset[str]]],
) -> SupersededPackage:
    decision = decision_on(session, package)
    said = {} if decision is None else orjson.loads(decision.document)
    words = said.get("segments", {})
    return SupersededPackage(
        number=package.number,
        decided_at=None if decision is None else decision.decided_at,
        is_deemed="deemed_after_days" in said,
        reason=said.get("reason"),
        segments={
            id_: _segment(id_, words.get(id_), acceptances.get((package.id, id_)), following=following)
            for id_ in theirs.segments
        },
    )


def _segment(
    id_: str, word: Word | None, acceptance: Acceptance | None, *, following: Sequence[tuple[str, frozenset[str]]]
) -> SupersededSegment:
    by = next((number for number, segments in following if id_ in segments), None)
    if acceptance is not None and acceptance.withdrawn_at is not None:
        return SupersededSegment(word=word, now=Now.WITHDRAWN, superseded_by=by, reason=acceptance.withdrawal_reason)
    if by is None or acceptance is not None:
        return SupersededSegment(word=word, now=Now.STANDS)
    return SupersededSegment(word=word, now=Now.SUPERSEDED, superseded_by=by)
