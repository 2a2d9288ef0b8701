"""Submit segments for acceptance, naming the verdict that was seen and the concessions asked for.

Started by: the contractor; the `package` job, when somebody made it due again after it was given up.
Writes: the submission with its segments, and the record set as it is now, under the route's lock; one audit entry. Of a
submission that is opened again, its state and its segments as held.
Leaves: the submission's `package` job due.
"""

from collections.abc import Iterable, Sequence
from itertools import islice
from typing import Annotated, Any
from uuid import UUID, uuid4

import orjson
from pydantic import Field
from sqlmodel import Session

from service import errors
from service.actions.acceptance.open_findings import open_findings
from service.actions.access.tokens import Caller
from service.storage import access, jobs, packages, routes, submissions, verdicts
from service.storage.tables import Route, Submission
from service.vocabulary import quantities as q
from service.vocabulary.findings.concession import Conceded, Concession, faults_in_names, subject_of
from service.vocabulary.findings.finding import FindingDocument, VerdictDocument
from service.vocabulary.people import PartySide
from service.vocabulary.signatures import SignedBy
from service.vocabulary.states import JobKind, SubmissionState
from service.vocabulary.validation import Fault, faults_of_unknown

# Enough to see what is wrong; the rest is in the findings.
_MOST_FAULTS = 50
MOST_CONCESSIONS = 2000


class SubmissionForm(q.Value):
    """What the contractor asks to have accepted, on the strength of which verdict, and by what it is signed."""

    segments: Annotated[tuple[q.Identifier, ...], Field(min_length=1, max_length=500)]
    verdict_digest: q.Sha256
    responsible_person: q.Identifier
    signature: SignedBy = SignedBy.SERVICE_SEAL
    concessions: Annotated[tuple[Concession, ...], Field(max_length=MOST_CONCESSIONS)] = ()


def submit(session: Session, caller: Caller, route_id: UUID, form: SubmissionForm) -> Submission:
    """Freeze the route's record set and ask for a package of the segments."""
    # Under the lock no record comes and no judgement is written: what is checked here is what is frozen below.
    route = routes.lock_route(session, caller.projects, route_id)
    _refuse_unknown_names(session, route, form)
    _refuse_taken_segments(session, route, form.segments)
    if route.agreed_design_revision is None:
        raise errors.DesignNotAgreedError("What is paid for follows from the design: the engineer has to agree to one.")
    _refuse_unsettled(session, route)
    standing = verdicts.standing_verdict(session, route)
    if standing is None or standing.digest != form.verdict_digest:
        raise errors.VerdictSupersededError("The route has another verdict by now; look at it and submit that one.")
    _refuse_unproven_fibres(session, route, form.segments)
    verdict: VerdictDocument = orjson.loads(standing.document)
    concessions = _match_concessions(form, open_findings(session, route, verdict, form.segments))
    submission = _submission(session, caller, route, form, concessions)
    submission.engine_version = standing.engine_version
    submission.dark_fibres = verdict.get("tolerated_dark", [])
    submissions.add_submission(session, submission)
    submissions.freeze_records(session, route, submission.id)
    routes.raise_version(route)
    jobs.make_due(session, JobKind.PACKAGE, project_id=route.project_id, subject_id=submission.id)
    caller.append_audit(session, route.project_id, "submission.made", submission.id, content_sha256=form.verdict_digest)
    return submission


def reopen(session: Session, route: Route, submission: Submission) -> None:
    """Hold the segments of a submission again whose package was given up, under the route's lock."""
    replaced = replaced_by(session, route, submission)
    if replaced is not None:
        raise errors.ConflictError(replaced)
    submissions.hold_segments(session, submission, is_open=True)
    submission.state, submission.problem = SubmissionState.QUEUED, None
    routes.raise_version(route)


def replaced_by(session: Session, route: Route, submission: Submission) -> str | None:
    """Say what has taken the place of a submission that was given up; `None` where nothing has.

    A later one that was refused has taken it too: the engineer has looked at newer records since.
    """
    for segment in packages.standing_acceptances(session, route):
        if segment in submission.segments:
            return f"Segment {segment} is accepted by now: nothing is made of an earlier submission."
    for other in submissions.submissions_after(session, submission):
        shared = sorted(set(other.segments) & set(submission.segments))
        if shared:
            return f"Submission {other.number} of segment {shared[0]} has taken the place of this one."
    return None


def _refuse_unknown_names(session: Session, route: Route, form: SubmissionForm) -> None:
    layout = routes.layout_of(session, route)
    known = {segment.id for segment in layout.design.segments}
    faults = faults_of_unknown("/segments", form.segments, known=known, detail="is not a segment of this route")
    if len(set(form.segments)) != len(form.segments):
        faults.append(Fault(pointer="/segments", detail="names a segment twice"))
    if access.find_person(session, route.project_id, form.responsible_person) is None:
        faults.append(Fault(pointer="/responsible_person", detail="is not a person of this project"))
    elif access.side_of(session, route.project_id, form.responsible_person) is PartySide.OWNER:
        faults.append(Fault(pointer="/responsible_person", detail="is a person of the owner's"))
    faults += islice(faults_in_names(form.concessions, layout), _MOST_FAULTS)
    if faults:
        raise errors.BodyInvalidError("The submission names what is not there.", faults=faults)


def _refuse_taken_segments(session: Session, route: Route, segments: Sequence[str]) -> None:
    accepted, held = packages.standing_acceptances(session, route), submissions.segments_held(session, route)
    for segment in segments:
        if segment in accepted:
            raise errors.ConflictError(f"Segment {segment} is accepted already.")
        if segment in held:
            raise errors.ConflictError(f"Segment {segment} is in an open submission.")


def _refuse_unsettled(session: Session, route: Route) -> None:
    problem = verdicts.judging_problem(session, route)
    if problem is not None:
        raise errors.NotSettledError(f"Judging was given up: {problem}")
    if not verdicts.is_settled(session, route):
        raise errors.NotSettledError("Judging goes on; ask for the status again.", headers={"Retry-After": "1"})


def _refuse_unproven_fibres(session: Session, route: Route, segments: Sequence[str]) -> None:
    """Refuse a segment with a fibre of which nothing is required: no finding proves nothing."""
    scope = {
        (segment.id, fibre)
        for segment in routes.layout_of(session, route).design.segments
        if segment.id in segments
        for numbers in segment.fibres
        for fibre in numbers.numbers()
    }
    proven = {
        (segment, row.number)
        for row in verdicts.fibre_documents(session, route)
        for segment, counts in row.counts.items()
        if any(counts.values())
    }
    faults = [
        Fault(pointer="/segments", detail=f"{segment}: the criteria require nothing of fibre {fibre}")
        for segment, fibre in sorted(scope - proven)
    ]
    if faults:
        raise errors.NotAcceptableError(
            "Nothing is required of some fibres, so nothing is proven.", faults=faults[:_MOST_FAULTS]
        )


def _match_concessions(form: SubmissionForm, open_findings: Iterable[FindingDocument]) -> list[dict[str, Any]]:
    faults: list[Fault] = []
    # One concession may cover several findings, each with segments of its own.
    segments_of: dict[int, dict[str, None]] = {}
    conceded = Conceded(form.concessions)
    for finding in open_findings:
        number = conceded.index_for(subject_of(finding))
        if number is None:
            faults.append(Fault(pointer="/concessions", detail=_describe(finding)))
        else:
            segments_of.setdefault(number, {}).update(dict.fromkeys(finding["segments"]))
    if faults:
        raise errors.NotAcceptableError(
            f"Required findings that do not conform, with no concession asked for them: {len(faults)}.",
            faults=faults[:_MOST_FAULTS],
        )
    needless = set(range(len(form.concessions))) - set(segments_of)
    if needless:
        raise errors.BodyInvalidError(
            "A concession is asked for what needs none.",
            faults=[Fault(pointer=f"/concessions/{i}", detail="names no open finding") for i in sorted(needless)],
        )
    return [
        {"number": i + 1, "segments": list(segments_of[i]), **one.model_dump(exclude_none=True)}
        for i, one in enumerate(form.concessions)
    ]


def _describe(finding: FindingDocument) -> str:
    fibre = f", fibre {finding['fibre']}" if "fibre" in finding else ", several fibres"
    position = f", position {finding['position']}" if "position" in finding else ""
    place = f" at {finding['site']}{position}" if "site" in finding else ""
    place += f" in {finding['section']}" if "section" in finding else ""
    if "fibre" in finding and "from_site" in finding:
        place += f" from {finding['from_site']} to {finding['to_site']}"
    return f"{finding['criterion']}{fibre}{place}: {finding['outcome']}: {finding['detail']}"


def _submission(
    session: Session, caller: Caller, route: Route, form: SubmissionForm, concessions: list[dict[str, Any]]
) -> Submission:
    person = access.find_person(session, route.project_id, form.responsible_person)
    assert person is not None
    return Submission(
        project_id=route.project_id,
        id=uuid4(),
        route_id=route.id,
        number=submissions.next_number(session, route),
        state=SubmissionState.QUEUED,
        verdict_digest=form.verdict_digest,
        design_revision=route.design_revision,
        criteria_version=route.criteria_version or 0,
        segments=list(form.segments),
        concessions=concessions,
        responsible_person=form.responsible_person,
        responsible_name=person.name,
        responsible_position=person.role,
        signature=form.signature,
        submitted_at=caller.now,
        token_id=caller.token_id,
    )
