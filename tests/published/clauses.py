"""What a clause of a document comes to as criteria, and how such clauses are judged."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from service.vocabulary.findings.finding import FindingDocument
from tests.published.check_values import Provenance
from tests.unit.judgement.judging import judge

Body = dict[str, Any]

AT_1310, AT_1550 = {"wavelength_nm": 1310}, {"wavelength_nm": 1550}
# On a limit, and one last place below and above it.
BELOW_AT_ABOVE = ((-0.001, "conforming"), (0.0, "conforming"), (0.001, "nonconforming"))


@dataclass(frozen=True, kw_only=True)
class Clause(Provenance):
    """What a document demands, in one criterion each."""

    criteria: tuple[Body, ...]


def customary(what: str, *criteria: Body) -> Clause:
    """Return what contracts ask for all the same, and no document at hand says."""
    source = f"common practice, no source: {what}"
    return Clause(criteria=criteria, source=source, mark="customary", tolerance=0)


def as_criteria(clause: Clause) -> Body:
    """Return a clause as it is agreed."""
    return {"title": clause.source, "document": clause.source, "criteria": list(clause.criteria)}


def held(clause: Clause, bodies: Sequence[Body], *, design: Body | None = None) -> list[FindingDocument]:
    """Return what the criteria of a clause say of one fibre."""
    return judge(list(bodies), design=design, criteria=as_criteria(clause)).document["findings"]
