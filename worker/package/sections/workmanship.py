"""How the splices were made, site by site: what is out of order stands in the open lists splice by splice."""

from collections import Counter
from collections.abc import Iterator, Sequence
from decimal import Decimal

from service.vocabulary.criteria.workmanship import WorkmanshipCriterion
from service.vocabulary.words import Outcome
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding
from worker.package.document_model import Column, Kind, Section, Table, listing
from worker.package.phrases import UNKNOWN, words
from worker.package.wording.values import limit_text

_NOTE = (
    "The latest attempt at every splice of a site is held against each demand; values run from the least to the "
    "greatest there. Splices that do not conform or are undetermined are listed one by one under their titles above."
)


def workmanship_section(content: PackageContent, findings: Sequence[Finding]) -> Section:
    """Return what was found of the splices of each site under each demand."""
    table = Table(columns=_COLUMNS, rows=tuple(_rows(content, findings)), is_grouped=True)
    return listing(title="Workmanship", blocks=[table], note=_NOTE)


_COLUMNS = (
    Column(heading="Site", share=46),
    Column(heading="Criterion", share=96),
    Column(heading="Demand", share=84),
    Column(heading="Values", share=84),
    Column(heading="Limit", share=50),
    Column(heading="Unit", share=28),
    Column(heading="Conforming", share=49, kind=Kind.NUMBER),
    Column(heading="Nonconforming", share=62, kind=Kind.NUMBER),
    Column(heading="Undetermined", share=56, kind=Kind.NUMBER),
)


def _rows(content: PackageContent, findings: Sequence[Finding]) -> Iterator[tuple[str, ...]]:
    demands = {
        criterion.code: criterion.demand.aspect
        for criterion in content.criteria.criteria
        if isinstance(criterion, WorkmanshipCriterion)
    }
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.joint[1], finding.criterion), []).append(finding)
    order = {site.id: index for index, site in enumerate(content.design.sites)}
    for (site, code), own in sorted(groups.items(), key=lambda item: (order[item[0][0]], item[0][1])):
        counts = Counter(finding.outcome for finding in own)
        yield (
            site,
            code,
            words(demands[code]) if code in demands else UNKNOWN,
            _values_text(own),
            " / ".join(sorted({limit_text(finding) for finding in own if finding.limit is not None})) or UNKNOWN,
            next((finding.unit for finding in own if finding.unit is not None), UNKNOWN),
            *(str(counts[outcome]) for outcome in Outcome),
        )


def _values_text(findings: Sequence[Finding]) -> str:
    values = sorted({finding.value for finding in findings if finding.value is not None}, key=Decimal)
    if not values:
        return UNKNOWN
    return values[0] if len(values) == 1 else f"{values[0]} to {values[-1]}"
