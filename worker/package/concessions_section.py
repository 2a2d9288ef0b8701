"""The concessions asked for, by the numbers that the decision and the engineer's frame name."""

from collections.abc import Iterator, Sequence

from service.vocabulary.concession import Concession
from service.vocabulary.finding import FindingDocument
from worker.package.content import PackageContent
from worker.package.pieces import Column, Kind, Look, Paragraph, Section, Table, listing
from worker.package.wording import UNKNOWN, number_text, place_text, value_text

CONCESSIONS_TITLE = "Concessions asked for"

_NOTE = Paragraph(
    text="A decision grants a concession by its number. A segment that needs one can be accepted only when it is "
    "granted.",
    look=Look.NOTE,
)


def concessions_section(content: PackageContent, findings: Sequence[FindingDocument]) -> Section:
    """Return the concessions asked for, with the value that each would let stand and the segments that need it."""
    table = Table(columns=_COLUMNS, rows=tuple(_rows(content, findings)))
    return listing(title=CONCESSIONS_TITLE, table=table, note=_NOTE)


_COLUMNS = (
    Column(heading="Number", share=36, kind=Kind.NUMBER),
    Column(heading="Needed for", share=58),
    Column(heading="Fibre", share=28, kind=Kind.NUMBER),
    Column(heading="Place", share=54),
    Column(heading="Position", share=36, kind=Kind.NUMBER),
    Column(heading="Criterion", share=62),
    Column(heading="Value", unit="dB", share=44, kind=Kind.NUMBER),
    Column(heading="Limit", unit="dB", share=36, kind=Kind.NUMBER),
    Column(heading="Reason given", share=164),
)


def _rows(content: PackageContent, findings: Sequence[FindingDocument]) -> Iterator[tuple[str, ...]]:
    if not content.concessions:
        return
    by_subject = {(f["criterion"], f["fibre"], f.get("site"), f.get("position")): f for f in findings}
    for number, asked in enumerate(content.concessions, start=1):
        conceded = by_subject.get((asked.criterion, asked.fibre, asked.site, asked.position))
        yield (
            str(number),
            *_subject(content, asked, conceded),
            asked.criterion,
            *_held(conceded),
            asked.reason,
        )


def _subject(content: PackageContent, asked: Concession, conceded: FindingDocument | None) -> tuple[str, ...]:
    needed_for = () if conceded is None else [one for one in content.segments if one in conceded["segments"]]
    place = asked.site or (UNKNOWN if conceded is None else place_text(conceded))
    return ", ".join(needed_for) or UNKNOWN, str(asked.fibre), place, number_text(asked.position)


def _held(conceded: FindingDocument | None) -> tuple[str, str]:
    if conceded is None:
        return UNKNOWN, UNKNOWN
    return value_text(conceded), conceded.get("limit_db", UNKNOWN)
