"""What tests ask for: all bodies as they are posted, of `tests.bodies`, and what the service makes of them."""

import orjson

from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.design.layout import Layout
from service.vocabulary.records.record import RECORD, canonical_record
from tests.bodies import *  # noqa: F403 - whoever asks for a body asks for it here
from tests.bodies import Body
from tests.bodies.criteria import *  # noqa: F403
from tests.bodies.criteria import make_criteria
from tests.bodies.records import *  # noqa: F403
from tests.bodies.routes import *  # noqa: F403
from tests.bodies.routes import make_design
from worker.judgement.history.evidence import Evidence


def layout_of(design: Body | None = None) -> Layout:
    """Return a posted design laid out."""
    return Layout(Design.model_validate(make_design() if design is None else design))


def criteria_of(criteria: Body | None = None) -> Criteria:
    """Return posted criteria as a value."""
    return Criteria.model_validate(make_criteria() if criteria is None else criteria)


def stored(
    record: Body,
    *,
    is_ended: bool = False,
    clock_is_flagged: bool = False,
    is_annulled: bool = False,
    is_of_other_route: bool = False,
) -> Evidence:
    """Return a posted record as the service keeps it."""
    body = orjson.loads(canonical_json(canonical_record(RECORD.validate_json(orjson.dumps(record)))))
    return Evidence(
        body=body,
        is_ended=is_ended or is_annulled,
        clock_is_flagged=clock_is_flagged,
        is_annulled=is_annulled,
        is_of_other_route=is_of_other_route,
    )
