"""What billing hears of an accepted segment: a CloudEvents 1.0 body with the quantities that are paid for."""

from collections.abc import Sequence
from typing import Any
from uuid import uuid4

from sqlmodel import Session

from service.actions.decision_context import DecisionContext
from service.storage.notices import NoticeDraft
from service.storage.routes import layout_of
from service.storage.tables import Acceptance
from service.vocabulary.canonical import canonical_json
from service.vocabulary.design.billing_quantities import SegmentQuantities, quantities_of
from service.vocabulary.design.design import Segment
from service.vocabulary.quantities import canonical_time

SEGMENT_ACCEPTED = "segment.accepted"


def accepted_notice(
    session: Session,
    context: DecisionContext,
    acceptance: Acceptance,
    granted: Sequence[dict[str, Any]],
    *,
    is_deemed: bool,
) -> NoticeDraft:
    """Return the notice of a new acceptance; its number comes just before commit."""
    route = context.route
    layout = layout_of(session, route, revision=context.submission.design_revision)
    segment = next(one for one in layout.design.segments if one.id == acceptance.segment_id)
    paid, notice_id = quantities_of(layout, segment, dark=context.submission.dark_fibres), uuid4()
    data = {**_accepted_data(context, acceptance, segment, paid, granted), "is_deemed": is_deemed}

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


def _accepted_data(
    context: DecisionContext,
    acceptance: Acceptance,
    segment: Segment,
    paid: SegmentQuantities,
    granted: Sequence[dict[str, Any]],
) -> dict[str, Any]:
    route, package = context.route, context.package
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
