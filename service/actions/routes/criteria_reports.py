"""What criteria cannot decide, or say against each other: by themselves, and on a route.

Started by: whoever sets criteria, and every status. Writes: nothing. Leaves: nothing.
"""

from collections.abc import Sequence
from functools import lru_cache

from sqlmodel import Session

from service.storage.criteria import criteria_row, parse_criteria
from service.storage.routes import design_row, parse_design
from service.storage.tables import Route
from service.vocabulary.criteria.contradictions import contradictions_in
from service.vocabulary.criteria.report import CriteriaReport
from service.vocabulary.criteria.route_feasibility import infeasibilities_on


def reports_on_route(session: Session, route: Route, version: int | None) -> Sequence[CriteriaReport]:
    """Return what a criteria version cannot decide on a route; nothing without one."""
    if version is None:
        return ()
    criteria = criteria_row(session, route.project_id, version).document
    return _reports_on(criteria, design_row(session, route).document)


@lru_cache(maxsize=128)
def reports_in(criteria: str) -> tuple[CriteriaReport, ...]:
    """Return what criteria cannot decide, by their canonical text, before they meet any route."""
    return tuple(contradictions_in(parse_criteria(criteria)))


# Rows of both tables never change, so what is said of their texts may be kept.
@lru_cache(maxsize=128)
def _reports_on(criteria: str, design: str) -> tuple[CriteriaReport, ...]:
    return (*reports_in(criteria), *infeasibilities_on(parse_criteria(criteria), parse_design(design)))
