"""One item of a work list, and why it is to be done."""

from collections.abc import Iterable
from typing import NamedTuple

from service.vocabulary.criteria.words import DecisionRule
from service.vocabulary.findings.words import Act
from worker.judgement.fibre.findings import Finding
from worker.judgement.numbers.exact import parts_text


class Cause(NamedTuple):
    """Why something has to be done: a clause for the crew, the criteria behind it, and the records that say so."""

    clause: str
    criteria: tuple[str, ...] = ()
    records: tuple[str, ...] = ()


class WorkItem(NamedTuple):
    """Something that a crew has to do at a site, with all its causes."""

    act: Act
    site: str
    causes: tuple[Cause, ...]
    position: int | None = None
    is_urgent: bool = False


def merge_alike(items: Iterable[WorkItem]) -> list[WorkItem]:
    """Return one item for those that ask for the same act at the same place, with all their causes."""
    merged: dict[tuple[Act, str, int | None], WorkItem] = {}
    for item in items:
        key = item.act, item.site, item.position
        before = merged.get(key)
        merged[key] = item if before is None else before._replace(causes=before.causes + item.causes)
    return list(merged.values())


def cause_of(finding: Finding, clause: str) -> Cause:
    """Return the cause that a finding is, in words of its own."""
    records = tuple(reading.record for reading in finding.judged.readings)
    return Cause(clause, (finding.code,), records)


def beyond_limit(finding: Finding) -> str:
    """Say by how much a nonconforming value is beyond its limit."""
    limit, bounds = finding.judged.limit, finding.judged.bounds
    assert limit is not None
    assert bounds is not None
    low, high = (parts_text(bound, places=limit.places) for bound in bounds)
    unit = limit.unit.value
    # By the guarded rule the limit is kept only where the guard band is kept too.
    is_guarded = limit.rule is DecisionRule.GUARDED
    band = f" with a guard band of {parts_text(limit.band, places=limit.places)} {unit}" if is_guarded else ""
    is_exact = bounds[0] == bounds[1]
    if limit.is_minimum:
        return f"is {'' if is_exact else 'at most '}{high} {unit}, below the least of {limit.text} {unit}{band}"
    return f"is {'' if is_exact else 'at least '}{low} {unit}, above the limit of {limit.text} {unit}{band}"
