"""The findings of the segments submitted: in order, and first what keeps them from conforming."""

from collections.abc import Sequence

from service.vocabulary.criteria.words import Force
from service.vocabulary.findings.words import Outcome
from worker.package.data.content import PackageContent
from worker.package.data.declarations import OPEN_TITLES
from worker.package.data.findings import Finding, read_finding
from worker.package.document_model import Section, listing
from worker.package.sections.columns import text_column
from worker.package.sections.finding_columns import (
    ANY_LIMIT,
    ANY_VALUE,
    FIBRE_LINK,
    POSITION,
    UNIT,
    detail_text,
    finding_table,
)
from worker.package.wording.values import LEAST, place_text

_FALLBACK_TITLE = "Out of specification, and conforming only by fallback after documented attempts"
_OPEN_NOTE = f"{LEAST} stands before a limit that is the least that is allowed; every other is the most."


def submitted_findings(content: PackageContent) -> Sequence[Finding]:
    """Return the findings of the segments submitted: of all fibres together, then by fibre and place from A.

    Of a dark fibre that the criteria tolerate nothing is to be decided.
    """
    order = content.site_order | {section.id: place for place, section in enumerate(content.design.sections)}
    submitted = frozenset(content.segments)
    dark = frozenset(content.tolerated_dark)
    chosen = [
        read_finding(one)
        for one in content.all_findings()
        if one.get("fibre") not in dark and not submitted.isdisjoint(one["segments"])
    ]
    return sorted(
        chosen,
        key=lambda one: (
            one.fibre or 0,
            order.get(one.site or one.section or "", -1),
            one.position or 0,
            one.wavelength_nm or 0,
            one.criterion,
        ),
    )


def nonconforming_section(findings: Sequence[Finding]) -> Section:
    """Return what does not conform, and what conforms only by a fallback, which is out of specification."""
    by_fallback = [finding for finding in findings if finding.by_fallback]
    section = open_section(Outcome.NONCONFORMING, findings)
    return section.followed_by(_FALLBACK_TITLE, finding_table(_OPEN_COLUMNS, by_fallback))


def open_section(outcome: Outcome, findings: Sequence[Finding]) -> Section:
    """Return the findings that came out one way, each with its reason."""
    table = finding_table(_OPEN_COLUMNS, [finding for finding in findings if finding.outcome is outcome])
    has_least = any(LEAST in row[_LIMIT_COLUMN] for row in table.rows)
    return listing(title=OPEN_TITLES[outcome], blocks=[table], note=_OPEN_NOTE if has_least else None)


def _criterion_text(finding: Finding) -> str:
    advisory = " (advisory)" if finding.force is Force.ADVISORY else ""
    return f"{finding.criterion}{advisory}"


_OPEN_COLUMNS = (
    FIBRE_LINK,
    text_column("Place", 68, place_text),
    POSITION,
    text_column("Criterion", 84, _criterion_text),
    ANY_VALUE,
    ANY_LIMIT,
    UNIT,
    text_column("Reason", 170, detail_text),
)
_LIMIT_COLUMN = _OPEN_COLUMNS.index(ANY_LIMIT)
