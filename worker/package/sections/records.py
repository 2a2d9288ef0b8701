"""The records that the findings stand on: the tests of each fibre, and the work at each site, with who made them."""

from collections.abc import Sequence

from service.vocabulary.records.words import RecordKind
from worker.package.data.content import PackageContent
from worker.package.data.records import RecordOutline
from worker.package.document_model import Role, Section, listing, titled
from worker.package.phrases import UNKNOWN, number_text, numbers_text, utc_text, words
from worker.package.sections.columns import Shown, number_column, table_of, text_column
from worker.package.wording.records import (
    TESTS,
    connection_text,
    ends_text,
    lid_text,
    named_test,
    result_text,
    splicer_text,
    telling_digits,
)

RECORDS_TITLE = "Records behind the findings"

_NOTE = (
    "Every record about fibres submitted or about a site as a whole that was neither replaced nor withdrawn; arc "
    "calibrations are listed with the instruments. A person is named by the mark that the project's list of people "
    "explains. A record is named by so many first digits as tell all records of this package apart; the whole of it is "
    "in the attached data."
)


def records_section(content: PackageContent, records: Sequence[RecordOutline]) -> Section:
    """Return the tests by fibre and the work by site."""
    digits = telling_digits([record.id for record in records])
    scope = content.fibres_in_scope
    shown = [record for record in records if not record.is_ended and _is_about(record, scope)]
    order = content.site_order
    # What is no test is work, so that no kind is left out; a later design may have left out a site with work.
    work = sorted(
        (record for record in shown if record.kind not in TESTS and record.kind is not RecordKind.ARC_CALIBRATION),
        key=lambda one: (order.get(one.site or "", len(order)), _place_text(one), one.made_at, one.id),
    )
    tests = sorted(
        (record for record in shown if record.kind in TESTS),
        key=lambda one: (one.fibre, named_test(one), ends_text(one), one.made_at, one.id),
    )
    made_by: tuple[Shown[RecordOutline], ...] = (
        text_column("By", 34, lambda one: one.operator),
        text_column("Record", 40, lambda one: one.id[:digits]),
    )
    blocks = titled(
        ("Tests by fibre", table_of((*_TEST_COLUMNS, *made_by), tests, is_grouped=True)),
        ("Work by site", table_of((*_WORK_COLUMNS, *made_by), work, is_grouped=True)),
    )
    return listing(title=RECORDS_TITLE, blocks=blocks, note=_NOTE)


def _is_about(record: RecordOutline, scope: frozenset[int]) -> bool:
    """Tell whether a record is about a fibre in scope, or about a site as a whole."""
    if record.spliced_fibres:
        return not scope.isdisjoint(record.spliced_fibres)
    return record.fibre is None or record.fibre in scope


def _place_text(record: RecordOutline) -> str:
    return record.site or record.section or ""


def _work_text(record: RecordOutline) -> str:
    match record.kind:
        case RecordKind.CLOSURE_STATE:
            return lid_text(record)
        case RecordKind.SPLICE if not record.spliced_fibres:
            return "splice of another route"
        case RecordKind.CLEANING:
            return f"cleaning{connection_text(record).removeprefix(record.site or '')}"
        case kind:
            return words(kind)


def _fibres_text(record: RecordOutline) -> str:
    return numbers_text(sorted(set(record.spliced_fibres))) or number_text(record.fibre)


_MADE: Shown[RecordOutline] = text_column("Made", 92, lambda one: utc_text(one.made_at), unit="UTC")
_TEST_COLUMNS: tuple[Shown[RecordOutline], ...] = (
    number_column("Fibre", 26, lambda one: number_text(one.fibre), role=Role.FIBRE),
    text_column("Test", 92, named_test),
    text_column("From and to", 70, ends_text),
    _MADE,
    text_column("Result", 60, result_text),
    text_column("Instruments", 80, lambda one: " / ".join(each.serial for each in one.instruments) or UNKNOWN),
)
_WORK_COLUMNS: tuple[Shown[RecordOutline], ...] = (
    text_column("Site or section", 66, _place_text),
    text_column("Work", 70, _work_text),
    text_column("Fibres", 60, _fibres_text),
    _MADE,
    number_column("Attempt", 36, lambda one: number_text(one.attempt)),
    text_column("Splicer", 60, splicer_text),
)
