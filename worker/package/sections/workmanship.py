"""How the splices were made, site by site: what is out of order stands in the open lists splice by splice."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import NamedTuple

from service.vocabulary.criteria.workmanship import WorkmanshipCriterion
from service.vocabulary.findings.words import Outcome
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding
from worker.package.document_model import Section, listing
from worker.package.phrases import UNKNOWN, words
from worker.package.sections.columns import Shown, number_column, table_of, text_column
from worker.package.wording.values import limit_text

_NOTE = (
    "The latest attempt at every splice of a site is held against each demand; values run from the least to the "
    "greatest there. Splices that do not conform or are undetermined are listed one by one under their titles above."
)


def workmanship_section(content: PackageContent, findings: Sequence[Finding]) -> Section:
    """Return what was found of the splices of each site under each demand."""
    table = table_of(_COLUMNS, list(_by_site(content, findings)), is_grouped=True)
    return listing(title="Workmanship", blocks=[table], note=_NOTE)


class _Demanded(NamedTuple):
    """What was found of the splices of one site under one criterion."""

    site: str
    criterion: str
    demand: str
    findings: Sequence[Finding]

    def how_many(self, outcome: Outcome) -> str:
        """Return how many of the splices came out so."""
        return str(sum(one.outcome is outcome for one in self.findings))


def _by_site(content: PackageContent, findings: Sequence[Finding]) -> Iterator[_Demanded]:
    demands = {
        criterion.code: words(criterion.demand.aspect)
        for criterion in content.criteria.criteria
        if isinstance(criterion, WorkmanshipCriterion)
    }
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.joint[1], finding.criterion), []).append(finding)
    order = content.site_order
    for (site, code), own in sorted(groups.items(), key=lambda item: (order[item[0][0]], item[0][1])):
        yield _Demanded(site, code, demands.get(code, UNKNOWN), own)


def _values_text(findings: Sequence[Finding]) -> str:
    values = sorted({finding.value for finding in findings if finding.value is not None}, key=Decimal)
    if not values:
        return UNKNOWN
    return values[0] if len(values) == 1 else f"{values[0]} to {values[-1]}"


def _limits_text(findings: Sequence[Finding]) -> str:
    return " / ".join(sorted({limit_text(finding) for finding in findings if finding.limit is not None})) or UNKNOWN


_COLUMNS: tuple[Shown[_Demanded], ...] = (
    text_column("Site", 46, lambda one: one.site),
    text_column("Criterion", 96, lambda one: one.criterion),
    text_column("Demand", 84, lambda one: one.demand),
    text_column("Values", 84, lambda one: _values_text(one.findings)),
    text_column("Limit", 50, lambda one: _limits_text(one.findings)),
    text_column("Unit", 28, lambda one: next((each.unit for each in one.findings if each.unit is not None), UNKNOWN)),
    number_column("Conforming", 49, lambda one: one.how_many(Outcome.CONFORMING)),
    number_column("Nonconforming", 62, lambda one: one.how_many(Outcome.NONCONFORMING)),
    number_column("Undetermined", 56, lambda one: one.how_many(Outcome.UNDETERMINED)),
)
