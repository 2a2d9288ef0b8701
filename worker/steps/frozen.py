"""Judge a submission's frozen record set from scratch, and put together what its package is drawn from."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass

from sqlmodel import Session

from service.storage.head import audit_head
from service.storage.records import StoredEvidence, end_reasons, read_frozen_evidence
from service.storage.routes import criteria_row, design_row, find_route, parse_criteria, parse_design
from service.storage.tables import CriteriaVersion, DesignRevision, Person, Project, Route, Submission
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.concession import Concession
from service.vocabulary.criteria import Voiding
from worker import PROGRAM
from worker.judgement.judge import FibreJudgement, prepare
from worker.judgement.settle import JudgedFibre, Verdict, settle
from worker.package.content import PackageContent, PackagedRecord
from worker.steps.judge import EvidenceByFibre


@dataclass(frozen=True, kw_only=True)
class Frozen:
    """What a submission froze, as rows."""

    submission: Submission
    project: Project
    route: Route
    design: DesignRevision
    criteria: CriteriaVersion
    evidence: list[StoredEvidence]
    end_reasons: Mapping[str, str]
    responsible_person: str
    audit: tuple[int, str]


def read_frozen(session: Session, submission: Submission) -> Frozen:
    """Read what a submission froze."""
    route = find_route(session, [submission.project_id], submission.route_id)
    person = session.get(Person, (submission.project_id, submission.responsible_person))
    project = session.get(Project, submission.project_id)
    assert project is not None
    return Frozen(
        submission=submission,
        project=project,
        route=route,
        design=design_row(session, route, revision=submission.design_revision),
        criteria=criteria_row(session, submission.project_id, submission.criteria_version),
        evidence=read_frozen_evidence(session, route, submission.id),
        end_reasons=end_reasons(session, submission.project_id, submission.id),
        responsible_person=submission.responsible_person if person is None else person.name,
        audit=audit_head(session, submission.project_id),
    )


def altered_records(frozen: Frozen) -> int:
    """Return how many records no longer have the content that was hashed when they came."""
    return sum(sha256_hex(one.body.encode()) != one.sha256 for one in frozen.evidence)


def judge_frozen(frozen: Frozen) -> tuple[list[FibreJudgement], Verdict]:
    """Judge the frozen set as if nothing had been judged before."""
    layout, criteria = parse_design(frozen.design.document), parse_criteria(frozen.criteria.document)
    evidence = EvidenceByFibre(frozen.evidence, every_fibre_has_all=criteria.rework_voids is Voiding.CLOSURE)
    rules = prepare(layout, criteria)
    fibres = [rules.judge(number, evidence.of(number)) for number in range(1, layout.design.fibre_count + 1)]
    verdict = settle(
        layout=layout,
        criteria=criteria,
        design_sha256=frozen.design.sha256,
        criteria_sha256=frozen.criteria.sha256,
        fibres=[JudgedFibre.of(one) for one in fibres],
    )
    return fibres, verdict


def content_of(
    frozen: Frozen,
    fibres: list[FibreJudgement],
    verdict: Verdict,
    *,
    verification_code: str,
    public_url: str | None,
    is_demonstration: bool,
) -> PackageContent:
    """Put together what the package is drawn from."""
    submission, project = frozen.submission, frozen.project
    records = sorted(
        EvidenceByFibre(frozen.evidence, every_fibre_has_all=True).all,
        key=lambda one: (one.body["made_at"], one.body["id"]),
    )
    return PackageContent(
        number=f"{frozen.route.code}/{submission.number}",
        project_code=project.code,
        project_name=project.name,
        owner=project.owner,
        contractor=project.contractor,
        design=parse_design(frozen.design.document).design,
        design_revision=submission.design_revision,
        design_sha256=frozen.design.sha256,
        criteria=parse_criteria(frozen.criteria.document),
        criteria_version=submission.criteria_version,
        criteria_sha256=frozen.criteria.sha256,
        verdict=verdict.document,
        verdict_digest=verdict.digest,
        fibres=[one.document for one in fibres],
        segments=submission.segments,
        concessions=[_concession(one) for one in submission.concessions],
        responsible_person=frozen.responsible_person,
        submitted_at=submission.submitted_at,
        records=[
            PackagedRecord(
                body=one.body,
                is_ended=one.is_ended,
                clock_is_flagged=one.clock_is_flagged,
                end_reason=frozen.end_reasons.get(one.body["id"]),
            )
            for one in records
        ],
        audit_sequence=frozen.audit[0],
        audit_hash=frozen.audit[1],
        verification_code=verification_code,
        verification_url=None if public_url is None else f"{public_url}v1/verifications/{verification_code}",
        is_demonstration=is_demonstration,
        program=PROGRAM,
    )


def new_verification_code() -> str:
    """Return a code that nobody can guess, in groups that a person can read out."""
    alphabet = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
    return "-".join("".join(secrets.choice(alphabet) for _ in range(4)) for _ in range(4))


def _concession(row: dict[str, object]) -> Concession:
    return Concession.model_validate({name: row[name] for name in Concession.model_fields if name in row})
