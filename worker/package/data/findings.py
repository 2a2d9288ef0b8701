"""The findings that a package shows, read once: `None` where a finding does not say."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from service.vocabulary.findings.finding import FindingDocument, ReadingDocument, VoidDocument
from service.vocabulary.words import Force, Outcome, Quantity


class Finding(NamedTuple):
    """One value held against one criterion; quantities as they are attached, in the unit that the finding names."""

    criterion: str
    quantity: Quantity
    force: Force
    outcome: Outcome
    segments: Sequence[str]
    detail: str
    readings: Sequence[ReadingDocument]
    void: Sequence[VoidDocument]
    fibre: int | None = None
    site: str | None = None
    position: int | None = None
    side: str | None = None
    section: str | None = None
    from_site: str | None = None
    to_site: str | None = None
    joint_count: int | None = None
    wavelength_nm: int | None = None
    unit: str | None = None
    value: str | None = None
    low: str | None = None
    high: str | None = None
    limit: str | None = None
    is_least: bool = False
    margin: str | None = None
    uncertainty: str | None = None
    grade: str | None = None
    by_fallback: bool = False
    reason: str | None = None

    @property
    def joint(self) -> tuple[int, str]:
        """The fibre and the site of a finding about a joint."""
        if self.fibre is None or self.site is None:
            raise ValueError(f"a finding of {self.criterion} names no joint")
        return self.fibre, self.site


# Looked up: to call an enum takes as long as to read half of a finding, and there are a hundred thousand of them.
_QUANTITIES = {one.value: one for one in Quantity}
_FORCES = {one.value: one for one in Force}
_OUTCOMES = {one.value: one for one in Outcome}
FindingsByQuantity = Mapping[Quantity, Sequence[Finding]]


def read_finding(document: FindingDocument) -> Finding:
    """Return a finding as pages show it; texts and lists stay those of its document."""
    return Finding(
        criterion=document["criterion"],
        quantity=_QUANTITIES[document["quantity"]],
        force=_FORCES[document["force"]],
        outcome=_OUTCOMES[document["outcome"]],
        segments=document["segments"],
        detail=document["detail"],
        readings=document["readings"],
        void=document["void"],
        fibre=document.get("fibre"),
        site=document.get("site"),
        position=document.get("position"),
        side=document.get("side"),
        section=document.get("section"),
        from_site=document.get("from_site"),
        to_site=document.get("to_site"),
        joint_count=document.get("count"),
        wavelength_nm=document.get("wavelength_nm"),
        unit=document.get("unit"),
        value=document.get("value"),
        low=document.get("low"),
        high=document.get("high"),
        limit=document.get("limit"),
        is_least=document.get("limit_is") == "least",
        margin=document.get("margin"),
        uncertainty=document.get("uncertainty"),
        grade=document.get("grade"),
        by_fallback=document.get("by_fallback", False),
        reason=document.get("reason"),
    )


def by_quantity(findings: Iterable[Finding]) -> FindingsByQuantity:
    """Return findings by what they are about, in their order."""
    groups: defaultdict[Quantity, list[Finding]] = defaultdict(list)
    for finding in findings:
        groups[finding.quantity].append(finding)
    return groups
