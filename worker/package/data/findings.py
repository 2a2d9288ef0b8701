"""The findings of a package, as its pages ask for them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from service.vocabulary.findings.finding import FindingDocument

FindingsByQuantity = Mapping[str, Sequence[FindingDocument]]


def by_quantity(findings: Iterable[FindingDocument]) -> FindingsByQuantity:
    """Return findings by what they are about, in their order."""
    groups: defaultdict[str, list[FindingDocument]] = defaultdict(list)
    for finding in findings:
        groups[finding["quantity"]].append(finding)
    return groups
