"""A package with the submission that it answers and the route it is about."""

from dataclasses import dataclass

from service.storage.tables import Package, Route, Submission


@dataclass(frozen=True, kw_only=True)
class DecisionContext:
    """What a decision is made on."""

    route: Route
    package: Package
    submission: Submission
