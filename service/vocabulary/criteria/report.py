"""What is told of criteria that cannot be met, contradict each other or decide nothing; they are stored anyway."""

from dataclasses import dataclass
from enum import StrEnum

from service.vocabulary.criteria.base import AppliesWhen


class Severity(StrEnum):
    """Whether nothing can conform, it is doubtful that anything is decided or kept, or limits exclude each other."""

    UNMEETABLE = "unmeetable"
    QUESTIONABLE = "questionable"
    CONTRADICTORY = "contradictory"


@dataclass(frozen=True, kw_only=True, slots=True)
class CriteriaReport:
    """Why criteria, one or several together by their codes, cannot be met, contradict each other or decide nothing."""

    criteria: tuple[str, ...]
    severity: Severity
    detail: str


def holds_within(inner: AppliesWhen | None, outer: AppliesWhen | None) -> bool:
    """Tell whether one criterion surely holds wherever another does; bounds that merely overlap are not weighed."""
    return outer is None or inner == outer
