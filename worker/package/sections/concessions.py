"""The concessions asked for, by the numbers that the decision and the engineer's frame name."""

from collections.abc import Iterator, Sequence

from service.vocabulary.findings.concession import Concession
from service.vocabulary.words import Outcome
from worker.package.data.content import PackageContent
from worker.package.data.declarations import CONCESSIONS_TITLE
from worker.package.data.findings import Finding
from worker.package.document_model import Column, Kind, Role, Section, Table, listing
from worker.package.phrases import UNKNOWN, number_text
from worker.package.wording.values import limit_text, place_text, value_text

_NOTE = (
    "A decision grants a concession by its number. A segment that needs one can be accepted only when it is granted."
)


def concessions_section(content: PackageContent, findings: Sequence[Finding]) -> Section:
    """Return the concessions asked for, with the value that each would let stand and the segments that need it."""
    table = Table(columns=_COLUMNS, rows=tuple(_rows(content, findings)))
    return listing(title=CONCESSIONS_TITLE, blocks=[table], note=_NOTE)


_COLUMNS = (
    Column(heading="Number", share=36, kind=Kind.NUMBER),
    Column(heading="Needed for", share=58),
    Column(heading="Fibre", share=28, kind=Kind.NUMBER, role=Role.FIBRE_LINK),
    Column(heading="Place", share=54),
    Column(heading="Position", share=36, kind=Kind.NUMBER),
    Column(heading="Criterion", share=62),
    Column(heading="Value", share=44, kind=Kind.NUMBER),
    Column(heading="Limit", share=40, kind=Kind.NUMBER),
    Column(heading="Unit", share=34),
    Column(heading="Reason given", share=150),
)


def _rows(content: PackageContent, findings: Sequence[Finding]) -> Iterator[tuple[str, ...]]:
    if not content.concessions:
        return
    by_subject: dict[tuple[object, ...], Finding] = {}
    # Where one concession covers several findings, the one that needs it is shown.
    for finding in sorted(findings, key=lambda one: one.outcome is not Outcome.CONFORMING):
        subject = (finding.criterion, finding.fibre, finding.site, finding.position)
        by_subject[subject] = finding
    for number, asked in enumerate(content.concessions, start=1):
        conceded = by_subject.get((asked.criterion, asked.fibre, asked.site, asked.position))
        yield (
            str(number),
            *_subject(content, asked, conceded),
            asked.criterion,
            *_held(conceded),
            asked.reason,
        )


def _subject(content: PackageContent, asked: Concession, conceded: Finding | None) -> tuple[str, ...]:
    needed_for = () if conceded is None else [one for one in content.segments if one in conceded.segments]
    place = asked.site or (UNKNOWN if conceded is None else place_text(conceded))
    return (
        ", ".join(needed_for) or UNKNOWN,
        "all" if asked.fibre is None else str(asked.fibre),
        place,
        number_text(asked.position),
    )


def _held(conceded: Finding | None) -> tuple[str, str, str]:
    if conceded is None:
        return UNKNOWN, UNKNOWN, UNKNOWN
    return value_text(conceded), limit_text(conceded), conceded.unit or UNKNOWN
