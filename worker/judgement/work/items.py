"""Writing one item of a work list, with what the crew sees of the fibre on both sides of the site."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from service.vocabulary.design.layout import LocalFibre
from service.vocabulary.findings.finding import FindingDocument, LocalFibreDocument, WorkDocument
from service.vocabulary.words import Act
from worker.judgement.fibre.measured import FibreMeasured


@dataclass(frozen=True, kw_only=True, slots=True)
class Cause:
    """Why something has to be done: a clause for the crew, the criteria behind it, and the records that say so."""

    clause: str
    criteria: tuple[str, ...] = ()
    records: tuple[str, ...] = ()


def cause_of(finding: FindingDocument, clause: str) -> Cause:
    """Return the cause that a finding is, in words of its own."""
    records = tuple(reading["record"] for reading in finding["readings"])
    return Cause(clause=clause, criteria=(finding["criterion"],), records=records)


def beyond_limit(finding: FindingDocument) -> str:
    """Say by how much a nonconforming value is beyond its limit."""
    unit, limit = finding.get("unit"), finding.get("limit")
    # By the guarded rule the limit is kept only where the guard band is kept too.
    is_guarded = "uncertainty" in finding and "grade" not in finding
    band = f" with a guard band of {finding['uncertainty']} {unit}" if is_guarded else ""
    if finding.get("limit_is") == "least":
        value = finding.get("value") or f"at most {finding.get('high')}"
        return f"is {value} {unit}, below the least of {limit} {unit}{band}"
    value = finding.get("value") or f"at least {finding.get('low')}"
    return f"is {value} {unit}, above the limit of {limit} {unit}{band}"


def write_item(
    fibre: FibreMeasured,
    *,
    act: Act,
    site: str,
    causes: Sequence[Cause],
    position: int | None = None,
    is_urgent: bool = False,
) -> WorkDocument:
    """Write an item with all its causes."""
    because = "; ".join(_once(cause.clause for cause in causes))
    item: WorkDocument = {
        "act": act.value,
        "site": site,
        "site_index": fibre.layout.site_index[site],
        "fibre": fibre.number,
        "is_urgent": is_urgent,
        "because": f"{because[0].upper()}{because[1:]}.",
        "criteria": _once(code for cause in causes for code in cause.criteria),
        "records": _once(record for cause in causes for record in cause.records),
    }
    if position is not None:
        item["position"] = position
    towards_a, towards_b = fibre.layout.local_fibres(fibre.number, site)
    if towards_a is not None:
        item["towards_a"] = _local(towards_a)
    if towards_b is not None:
        item["towards_b"] = _local(towards_b)
    return item


def _once(texts: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(texts))


def _local(fibre: LocalFibre) -> LocalFibreDocument:
    return {
        "section": fibre.section,
        "cable_fibre": fibre.cable_fibre,
        "tube": fibre.place.tube,
        "tube_colour": fibre.place.tube_colour,
        "fibre_in_tube": fibre.place.fibre,
        "fibre_colour": fibre.place.fibre_colour,
    }
