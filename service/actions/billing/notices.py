"""What billing hears of accepted segments, and when: each by itself, or all once their route is accepted.

Started by: whatever closes a package, under the route's lock.
Writes: nothing; the notices are numbered with the audit entry, last before commit.
Leaves: nothing. A notice's body is a CloudEvents 1.0 event with the quantities that are paid for.
"""

from collections.abc import Sequence
from typing import Any
from uuid import uuid4

import orjson
from sqlmodel import Session

from service.storage import packages, routes
from service.storage.audit import NoticeDraft, told_of
from service.storage.criteria import criteria_of
from service.storage.tables import Acceptance, Notice, Package, Route, Submission
from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria.criteria import Release
from service.vocabulary.design.billing_quantities import SegmentQuantities, quantities_of
from service.vocabulary.design.design import Segment
from service.vocabulary.instants import canonical_time

SEGMENT_ACCEPTED = "segment.accepted"


def release(session: Session, route: Route, decided: Submission) -> list[NoticeDraft]:
    """Return the notices that the decision on a submission lets out, under the route's lock; none was told before."""
    criteria = criteria_of(session, route.project_id, decided.criteria_version)
    accepted = packages.standing_acceptances(session, route)
    design = routes.layout_of(session, route, revision=decided.design_revision).design
    segments = [segment.id for segment in design.segments]
    if criteria.release is Release.WITH_ROUTE and any(segment not in accepted for segment in segments):
        return []
    told = told_of(session, route, SEGMENT_ACCEPTED)
    waiting = [accepted[segment] for segment in segments if segment in accepted]
    return [_notice(session, route, one) for one in waiting if (one.segment_id, one.number) not in told]


def _notice(session: Session, route: Route, acceptance: Acceptance) -> NoticeDraft:
    package = packages.find_package(session, [acceptance.project_id], acceptance.package_id)
    decision = orjson.loads(packages.decision_made(session, package).document)
    submission = packages.submission_of_package(session, package)
    granted = [
        concession
        for concession in submission.concessions
        if concession["number"] in decision.get("concessions_granted", [])
        and acceptance.segment_id in concession["segments"]
    ]
    layout = routes.layout_of(session, route, revision=submission.design_revision)
    segment = next(one for one in layout.design.segments if one.id == acceptance.segment_id)
    paid, notice_id = quantities_of(layout, segment, dark=submission.dark_fibres), uuid4()
    data = {
        **_accepted_data(route, package, acceptance, segment, paid, granted),
        "is_deemed": "deemed_after_days" in decision,
    }

    def numbered(sequence: int) -> Notice:
        """Write the notice with its number, which comes just before commit."""
        event = {
            "specversion": "1.0",
            "id": notice_id,
            "source": f"/v1/projects/{route.project_id}",
            "type": SEGMENT_ACCEPTED,
            "subject": f"routes/{route.id}/segments/{segment.id}",
            "time": canonical_time(acceptance.accepted_at),
            "datacontenttype": "application/json",
            # CloudEvents orders this extension as text.
            "sequence": f"{sequence:020d}",
            "data": data,
        }
        return Notice(
            project_id=route.project_id,
            sequence=sequence,
            id=notice_id,
            type=SEGMENT_ACCEPTED,
            route_id=route.id,
            segment_id=segment.id,
            acceptance_number=acceptance.number,
            body=canonical_json(event).decode(),
        )

    return numbered


def _accepted_data(
    route: Route,
    package: Package,
    acceptance: Acceptance,
    segment: Segment,
    paid: SegmentQuantities,
    granted: Sequence[dict[str, Any]],
) -> dict[str, Any]:
    # One about several fibres together names none of them.
    conceded = len({one["fibre"] for one in granted if "fibre" in one})
    return {
        "route_id": route.id,
        "route_code": route.code,
        "segment_id": segment.id,
        "billing_item": segment.billing_item,
        "acceptance_number": acceptance.number,
        "package_id": package.id,
        "package_number": package.number,
        "package_sha256": package.certified_sha256,
        "accepted_at": canonical_time(acceptance.accepted_at),
        "cable_length_m": paid.cable_length_m,
        "fibre_length_m": paid.fibre_length_m,
        "splices": paid.splices,
        "terminations": paid.terminations,
        "fibres_accepted": paid.fibres - conceded,
        "fibres_conceded": conceded,
        "fibres_dark": paid.fibres_dark,
    }
