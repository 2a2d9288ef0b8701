"""Write what was judged of one fibre: its findings, its work, and all that stands beside them."""

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import cast

from service.vocabulary.criteria.words import DecisionRule, Force, Quantity, Unit
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import (
    FIBRE_FORM,
    Direction,
    FibreDocument,
    FindingDocument,
    LocalFibreDocument,
    ReadingDocument,
    RecordReading,
    VoidDocument,
    WorkDocument,
)
from service.vocabulary.findings.words import Grade, Outcome, Reason
from service.vocabulary.quantities import UM_PER_CM, UM_PER_M
from worker.judgement.documents.traces import write_traces, write_unexpected
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import Exact, parts_text, reading_text
from worker.judgement.numbers.limits import Limit
from worker.judgement.work.items import WorkItem

# The text of each word: asking a member of an enum for its value takes as long as all else about a reading.
_TEXT: Mapping[str, str] = {
    word: word.value for words in (Direction, Grade, Outcome, Quantity, Force, Reason, Unit) for word in words
}

# Lists that most findings have alike are one for all, which nobody changes: a package holds a hundred thousand findings
# at once, of which such lists were 20 MB.
_NOTHING_VOID: list[VoidDocument] = []


def write_fibre(
    layout: Layout, tested: FibreMeasured, findings: Iterable[Finding], work: Iterable[WorkItem], *, is_dark: bool
) -> FibreDocument:
    """Write everything judged about a fibre."""
    document: FibreDocument = {
        "form": FIBRE_FORM,
        "fibre": tested.number,
        "findings": write_findings(findings),
        "work": [write_work(item, layout, fibre=tested.number) for item in work],
        "unexpected_events": list(write_unexpected(layout, tested.unexpected)),
        **write_traces(layout, tested.traces),  # type: ignore[typeddict-item]
    }
    if is_dark:
        document["is_dark"] = True
    return document


def write_nothing(fibre: int, *, problem: str | None = None) -> FibreDocument:
    """Write that nothing was judged about a fibre, and why if it should have been."""
    document: FibreDocument = {
        "form": FIBRE_FORM,
        "fibre": fibre,
        "findings": [],
        "work": [],
        "unexpected_events": [],
    }
    if problem is not None:
        document["problem"] = problem
    return document


def write_findings(findings: Iterable[Finding]) -> list[FindingDocument]:
    """Write findings."""
    return [_finding(finding) for finding in findings]


def write_work(item: WorkItem, layout: Layout, *, fibre: int) -> WorkDocument:
    """Write one thing that has to be done, with what the crew sees of the fibre on both sides of the site."""
    because = "; ".join(dict.fromkeys(cause.clause for cause in item.causes))
    document: WorkDocument = {
        "act": item.act.value,
        "site": item.site,
        "site_index": layout.site_index[item.site],
        "fibre": fibre,
        "is_urgent": item.is_urgent,
        "because": f"{because[0].upper()}{because[1:]}.",
        "criteria": list(dict.fromkeys(code for cause in item.causes for code in cause.criteria)),
        "records": list(dict.fromkeys(record for cause in item.causes for record in cause.records)),
    }
    if item.position is not None:
        document["position"] = item.position
    tray = layout.tray(item.site, fibre)
    if tray is not None:
        document["tray"] = tray
    towards_a, towards_b = layout.local_fibres(fibre, item.site)
    if towards_a is not None:
        document["towards_a"] = cast(LocalFibreDocument, towards_a._asdict())
    if towards_b is not None:
        document["towards_b"] = cast(LocalFibreDocument, towards_b._asdict())
    return document


def _finding(finding: Finding) -> FindingDocument:
    criterion, wavelength_nm = finding.criterion, finding.wavelength_nm
    outcome, reason, detail, bounds, limit, readings, void, grade, by_fallback = finding.judged
    document: FindingDocument = {
        "criterion": criterion.code,
        "quantity": _TEXT[criterion.quantity],
        "force": _TEXT[criterion.force],
        "segments": _listed(finding.segments),
        "outcome": _TEXT[outcome],
        "detail": detail,
        "readings": [_reading(reading) for reading in readings],
        "void": [{"record": one.record, "reason": _TEXT[one.reason]} for one in void] if void else _NOTHING_VOID,
    }
    if wavelength_nm is not None:
        document["wavelength_nm"] = wavelength_nm
    if reason is not None:
        document["reason"] = _TEXT[reason]
    if grade is not None:
        document["grade"] = _TEXT[grade]
    if by_fallback:
        document["by_fallback"] = True
    if limit is not None:
        _add_limit(document, limit, bounds)
    _add_subject(document, finding)
    return document


@lru_cache(maxsize=1024)
def _listed(segments: tuple[str, ...]) -> list[str]:
    return list(segments)


def _add_subject(document: FindingDocument, finding: Finding) -> None:
    _, _, _, fibre, site, position, side, section, from_site, to_site, population, members = finding
    if fibre is not None:
        document["fibre"] = fibre
    if site is not None:
        document["site"] = site
    if position is not None:
        document["position"] = position
    if side is not None:
        document["side"] = side.value
    if section is not None:
        document["section"] = section
    if from_site is not None and to_site is not None:
        document["from_site"], document["to_site"] = from_site, to_site
    if population is not None and members is not None:
        document["population"], document["count"] = population.value, members


def _add_limit(document: FindingDocument, limit: Limit, bounds: tuple[Exact, Exact] | None) -> None:
    document["unit"], document["limit"] = _TEXT[limit.unit], limit.text
    if limit.is_minimum:
        document["limit_is"] = "least"
    if limit.rule is not DecisionRule.SIMPLE:
        document["uncertainty"] = parts_text(limit.band, places=limit.places)
    if bounds is None:
        return
    low, high = bounds
    # A value known exactly has no bounds; the margin is that of the worse bound, which decides.
    if low == high:
        document["value"] = parts_text(low, places=limit.places)
    else:
        document["low"], document["high"] = parts_text(low, places=limit.places), parts_text(high, places=limit.places)
    margin = low - limit.exact if limit.is_minimum else limit.exact - high
    document["margin"] = parts_text(margin, places=limit.places)


def _reading(reading: RecordReading) -> ReadingDocument:
    record, direction, wavelength_nm, value, within, places, distance_um = reading
    document: ReadingDocument = {"record": record}
    if direction is not None:
        document["direction"] = _TEXT[direction]
    if wavelength_nm is not None:
        document["wavelength_nm"] = wavelength_nm
    if value is not None:
        document["value"] = reading_text(value, places)
    if within is not None:
        document["within"] = reading_text(within, places)
    if distance_um is not None:
        # Kept to the centimetre, so there is nothing to round.
        metres, rest_um = divmod(distance_um, UM_PER_M)
        document["distance_m"] = f"{metres}.{rest_um // UM_PER_CM:02d}"
    return document
