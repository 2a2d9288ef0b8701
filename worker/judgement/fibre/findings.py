"""Writing findings: one value, or bounds of one, held against one limit."""

from collections.abc import Sequence
from typing import NamedTuple

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.findings.finding import FindingDocument, ReadingDocument, VoidDocument
from service.vocabulary.words import DecisionRule, Grade, Outcome, Reason
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import Exact, parts_text
from worker.judgement.numbers.limits import Limit, hold


class Judgement(NamedTuple):
    """What holding a value against its limit gave; `bounds` are in 1e-12 of the limit's unit."""

    outcome: Outcome
    reason: Reason | None
    detail: str
    bounds: tuple[Exact, Exact] | None = None
    limit: Limit | None = None
    readings: Sequence[ReadingDocument] = ()
    void: Sequence[VoidDocument] = ()
    grade: Grade | None = None
    by_fallback: bool = False

    def held(self, low: Exact, high: Exact, limit: Limit) -> "Judgement":
        """Return this judgement with a value held against a limit."""
        held = hold(low=low, high=high, limit=limit)
        return self._replace(
            outcome=held.outcome, reason=held.reason, grade=held.grade, bounds=(low, high), limit=limit
        )


def undetermined(
    reason: Reason,
    detail: str,
    *,
    limit: Limit | None = None,
    readings: Sequence[ReadingDocument] = (),
    void: Sequence[VoidDocument] = (),
) -> Judgement:
    """Return that nothing can be said, and why."""
    return Judgement(Outcome.UNDETERMINED, reason, detail, limit=limit, readings=readings, void=void)


def head_of(criterion: Criterion) -> FindingDocument:
    """Return what all findings of a criterion have in common; the rest is written into a copy."""
    head: FindingDocument = {
        "criterion": criterion.code,
        "quantity": criterion.quantity.value,
        "force": criterion.force.value,
        "segments": [],
        "outcome": "",
        "detail": "",
        "readings": [],
        "void": [],
    }
    wavelength_nm = getattr(criterion, "wavelength_nm", None)
    if wavelength_nm is not None:
        head["wavelength_nm"] = wavelength_nm
    return head


def joint_finding(head: FindingDocument, fibre: FibreMeasured, joint: Joint, judgement: Judgement) -> FindingDocument:
    """Write a finding about a joint."""
    finding = write_finding(head, [joint.segment], judgement)
    finding["fibre"] = fibre.number
    finding["site"] = joint.site
    finding["position"] = joint.position
    return finding


def link_finding(head: FindingDocument, fibre: FibreMeasured, judgement: Judgement) -> FindingDocument:
    """Write a finding about a fibre from end to end."""
    finding = write_finding(head, list(fibre.segments), judgement)
    finding["fibre"] = fibre.number
    finding["from_site"], finding["to_site"] = fibre.end_sites
    return finding


def write_finding(head: FindingDocument, segments: list[str], judgement: Judgement) -> FindingDocument:
    """Write a finding but for what it is about: fibre, site, section, ends."""
    finding = head.copy()
    finding["segments"] = segments
    finding["outcome"] = judgement.outcome.value
    finding["detail"] = judgement.detail
    finding["readings"] = list(judgement.readings)
    finding["void"] = list(judgement.void)
    if judgement.reason is not None:
        finding["reason"] = judgement.reason.value
    if judgement.grade is not None:
        finding["grade"] = judgement.grade.value
    if judgement.by_fallback:
        finding["by_fallback"] = True
    if judgement.limit is not None:
        _write_limit(finding, judgement.limit)
        if judgement.bounds is not None:
            _write_value(finding, judgement.bounds, judgement.limit)
    return finding


def _write_limit(finding: FindingDocument, limit: Limit) -> None:
    finding["unit"] = limit.unit.value
    finding["limit"] = limit.text
    if limit.is_minimum:
        finding["limit_is"] = "least"
    if limit.rule is not DecisionRule.SIMPLE:
        finding["uncertainty"] = parts_text(limit.band, places=limit.places)


def _write_value(finding: FindingDocument, bounds: tuple[Exact, Exact], limit: Limit) -> None:
    low, high = bounds
    if low == high:
        finding["value"] = parts_text(low, places=limit.places)
    else:
        finding["low"], finding["high"] = parts_text(low, places=limit.places), parts_text(high, places=limit.places)
    margin = low - limit.exact if limit.is_minimum else limit.exact - high
    finding["margin"] = parts_text(margin, places=limit.places)
