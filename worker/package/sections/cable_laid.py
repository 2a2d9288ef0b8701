"""Cable as it was laid: its length by the marks on its sheath, beside the designed."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from service.vocabulary.design.design import Section as CableSection
from service.vocabulary.quantities import decimal_text, to_last_place
from service.vocabulary.records.words import RecordKind
from worker.judgement.numbers.exact import last_place
from worker.package.data.content import PackageContent
from worker.package.data.records import RecordOutline
from worker.package.document_model import Section, listing
from worker.package.phrases import UNKNOWN
from worker.package.sections.columns import Shown, number_column, table_of, text_column
from worker.package.wording.records import telling_digits

_NOTE = (
    "As crews recorded it when they laid the cable, whichever route they recorded it for. The length by marks is the "
    "difference of the two; designed is the length of cable with its slack."
)


def cable_laid_section(content: PackageContent, records: Sequence[RecordOutline]) -> Section:
    """Return what was recorded of the cables of the route, in order from A."""
    digits = telling_digits([record.id for record in records])
    record_column: Shown[_Laid] = text_column("Record", 40, lambda one: one.record.id[:digits])
    table = table_of((*_COLUMNS, record_column), list(_laid(content, records)))
    return listing(title="Cable as laid", blocks=[table], note=_NOTE)


class _Laid(NamedTuple):
    record: RecordOutline
    section: CableSection
    ends: tuple[str, str]
    marks_cm: tuple[int, int]

    @property
    def by_marks_cm(self) -> int:
        return abs(self.marks_cm[1] - self.marks_cm[0])

    @property
    def designed_cm(self) -> int:
        return to_last_place(self.section.cable_length_m, places=2) + to_last_place(self.section.slack_m, places=2)


def _laid(content: PackageContent, records: Sequence[RecordOutline]) -> Iterator[_Laid]:
    standing = [one for one in records if one.kind is RecordKind.CABLE_LAYING and not one.is_ended]
    design = content.design
    for section, (start, end) in zip(design.sections, pairwise(design.sites), strict=True):
        for record in sorted(standing, key=lambda one: (one.made_at, one.id)):
            marks_cm = {mark["site"]: last_place(mark["mark_m"]) for mark in record.sheath_marks}
            # By a later design the cable may end elsewhere: then its marks say nothing of this section.
            if record.section == section.id and marks_cm.keys() == {start.id, end.id}:
                yield _Laid(record, section, (start.id, end.id), (marks_cm[start.id], marks_cm[end.id]))


def _metres(length_cm: int) -> str:
    return decimal_text(length_cm, places=2)


_COLUMNS: tuple[Shown[_Laid], ...] = (
    text_column("Section", 70, lambda one: one.section.id),
    text_column("Laid on", 54, lambda one: one.record.laid_on or UNKNOWN),
    text_column("Reel", 60, lambda one: one.record.reel or UNKNOWN),
    text_column("From", 50, lambda one: one.ends[0]),
    number_column("Mark there", 50, lambda one: _metres(one.marks_cm[0]), unit="m"),
    text_column("To", 50, lambda one: one.ends[1]),
    number_column("Mark at the end", 50, lambda one: _metres(one.marks_cm[1]), unit="m"),
    number_column("By marks", 50, lambda one: _metres(one.by_marks_cm), unit="m"),
    number_column("Designed, with slack", 60, lambda one: _metres(one.designed_cm), unit="m"),
    number_column("Longer than designed", 60, lambda one: _metres(one.by_marks_cm - one.designed_cm), unit="m"),
    text_column("By", 34, lambda one: one.record.operator),
)
