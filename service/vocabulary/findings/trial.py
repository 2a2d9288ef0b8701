"""The form of what a trial of criteria gives."""

from enum import StrEnum

from typing_extensions import TypedDict

from service.vocabulary.criteria.review import CriteriaReport
from service.vocabulary.criteria.words import Force, Quantity
from service.vocabulary.findings.finding import OutcomeCounts
from service.vocabulary.findings.words import Outcome


class TrialState(StrEnum):
    """Where a trial is: to be done, done, given up with the reason, or emptied to make room for newer ones."""

    DUE = "due"
    DONE = "done"
    PARKED = "parked"
    ENDED = "ended"


class TriedSegment(TypedDict):
    """What the required findings of a segment would come to."""

    id: str
    outcome: str
    counts: OutcomeCounts


class TriedCriterion(TypedDict):
    """How the findings of one criterion would come out."""

    code: str
    quantity: Quantity
    force: Force
    counts: OutcomeCounts


class ChangedFibres(TypedDict):
    """How many fibres that stand one way would come out another way."""

    standing: Outcome
    tried: Outcome
    fibres: int


class TrialResult(TypedDict):
    """What criteria would make of a route's records.

    A fibre's outcome is that of its required findings together; it is compared where one stands. Where the two versions
    of the route differ, records came in while it was tried.
    """

    first_route_version: int
    last_route_version: int
    standing_digest: str | None
    segments: list[TriedSegment]
    criteria: list[TriedCriterion]
    fibres_compared: int
    fibres_changed: int
    changes: list[ChangedFibres]
    fibres_not_judged: int
    reports: list[CriteriaReport]
