"""The findings that a package shows, read once: `None` where a finding does not say."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
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
    joint_count: int | None
    is_least: bool
    by_fallback: bool
    fibre: int | None = None
    site: str | None = None
    position: int | None = None
    side: str | None = None
    section: str | None = None
    from_site: str | None = None
    to_site: str | None = None
    wavelength_nm: int | None = None
    unit: str | None = None
    value: str | None = None
    low: str | None = None
    high: str | None = None
    limit: str | None = None
    margin: str | None = None
    uncertainty: str | None = None
    grade: str | None = None
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
_NAMED_ALIKE = tuple(Finding._field_defaults)
FindingsByQuantity = Mapping[Quantity, Sequence[Finding]]


def read_finding(document: FindingDocument) -> Finding:
    """Return a finding as pages show it; texts and lists stay those of its document."""
    said: Callable[[str], Any] = document.get
    return Finding(
        document["criterion"],
        _QUANTITIES[document["quantity"]],
        _FORCES[document["force"]],
        _OUTCOMES[document["outcome"]],
        document["segments"],
        document["detail"],
        document["readings"],
        document["void"],
        said("count"),
        said("limit_is") == "least",
        said("by_fallback") is True,
        *map(said, _NAMED_ALIKE),
    )


def by_quantity(findings: Iterable[Finding]) -> FindingsByQuantity:
    """Return findings by what they are about, in their order."""
    groups: defaultdict[Quantity, list[Finding]] = defaultdict(list)
    for finding in findings:
        groups[finding.quantity].append(finding)
    return groups
