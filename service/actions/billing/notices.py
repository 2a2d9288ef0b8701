"""What billing hears of an accepted segment: a CloudEvents 1.0 body with the quantities that are paid for."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID, uuid4

from sqlmodel import Session, col, select

from service.actions.decision_context import Case
from service.storage.head import NoticeDraft
from service.storage.routes import layout_of
from service.storage.tables import Acceptance, Notice
from service.vocabulary.canonical import canonical_json
from service.vocabulary.design.billing_quantities import SegmentQuantities, quantities_of
from service.vocabulary.design.design import Segment
from service.vocabulary.quantities import canonical_time

SEGMENT_ACCEPTED = "segment.accepted"


def accepted_notice(
    session: Session, case: Case, acceptance: Acceptance, granted: Sequence[dict[str, Any]], *, is_deemed: bool
) -> NoticeDraft:
    """Return the notice of a new acceptance; its number comes just before commit."""
    route = case.route
    layout = layout_of(session, route, revision=case.submission.design_revision)
    segment = next(one for one in layout.design.segments if one.id == acceptance.segment_id)
    paid, notice_id = quantities_of(layout, segment, dark=case.submission.dark_fibres), uuid4()
    data = {**_accepted_data(case, acceptance, segment, paid, granted), "is_deemed": is_deemed}

    def body(sequence: int) -> str:
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
        return canonical_json(event).decode()

    return NoticeDraft(
        id=notice_id,
        type=SEGMENT_ACCEPTED,
        route_id=route.id,
        segment_id=segment.id,
        acceptance_number=acceptance.number,
        body=body,
    )


def notices_after(session: Session, project_id: UUID, sequence: int, *, limit: int) -> Sequence[Notice]:
    """Return a project's notices above a number, in order: gapless, in commit order, for ever."""
    statement = select(Notice).where(Notice.project_id == project_id, col(Notice.sequence) > sequence)
    return session.exec(statement.order_by(col(Notice.sequence)).limit(limit)).all()


def _accepted_data(
    case: Case, acceptance: Acceptance, segment: Segment, paid: SegmentQuantities, granted: Sequence[dict[str, Any]]
) -> dict[str, Any]:
    route, package = case.route, case.package
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
