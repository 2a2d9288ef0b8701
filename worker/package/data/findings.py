"""The findings that a package shows, read once: `None` where a finding does not say."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from service.vocabulary.criteria.words import Force, Quantity
from service.vocabulary.findings.finding import FindingDocument, ReadingDocument, VoidDocument
from service.vocabulary.findings.words import Outcome


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
# Named alike in a finding's document, which leaves out what it does not say.
_NAMED_ALIKE = frozenset(Finding._field_defaults) - {"joint_count", "is_least"}
FindingsByQuantity = Mapping[Quantity, Sequence[Finding]]


def read_finding(document: FindingDocument) -> Finding:
    """Return a finding as pages show it; texts and lists stay those of its document."""
    known: Any = {name: value for name, value in document.items() if name in _NAMED_ALIKE}
    return Finding(
        criterion=document["criterion"],
        quantity=_QUANTITIES[document["quantity"]],
        force=_FORCES[document["force"]],
        outcome=_OUTCOMES[document["outcome"]],
        segments=document["segments"],
        detail=document["detail"],
        readings=document["readings"],
        void=document["void"],
        joint_count=document.get("count"),
        is_least=document.get("limit_is") == "least",
        **known,
    )


def by_quantity(findings: Iterable[Finding]) -> FindingsByQuantity:
    """Return findings by what they are about, in their order."""
    groups: defaultdict[Quantity, list[Finding]] = defaultdict(list)
    for finding in findings:
        groups[finding.quantity].append(finding)
    return groups
