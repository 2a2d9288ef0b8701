"""The records that the findings stand on: the tests of each fibre, and the work at each site, with who made them."""

from collections.abc import Iterator, Sequence

from service.vocabulary.words import RecordKind
from worker.package.data.content import PackageContent
from worker.package.data.records import RecordOutline
from worker.package.document_model import Column, Kind, Role, Section, Table, listing, titled
from worker.package.phrases import UNKNOWN, number_text, numbers_text, utc_text, words
from worker.package.wording.records import TESTS, connection_text, ends_text, named_test, result_text, telling_digits

RECORDS_TITLE = "Records behind the findings"

_NOTE = (
    "Every record about fibres submitted or about a site as a whole that was neither replaced nor withdrawn; arc "
    "calibrations are listed with the instruments. A person is named by the mark that the project's list of people "
    "explains. A record is named by so many first digits as tell all records of this package apart; the whole of it is "
    "in the attached data."
)
_WORK = frozenset({RecordKind.SPLICE, RecordKind.TERMINATION, RecordKind.CLEANING, RecordKind.CLOSURE_STATE})


def records_section(content: PackageContent, records: Sequence[RecordOutline]) -> Section:
    """Return the tests by fibre and the work by site."""
    digits = telling_digits([record.id for record in records])
    scope = content.fibres_in_scope
    shown = [record for record in records if not record.is_ended and _is_about(record, scope)]
    tests = Table(columns=_TEST_COLUMNS, rows=tuple(_test_rows(shown, digits)), is_grouped=True)
    work = Table(columns=_WORK_COLUMNS, rows=tuple(_work_rows(content, shown, digits)), is_grouped=True)
    blocks = titled(("Tests by fibre", tests), ("Work by site", work))
    return listing(title=RECORDS_TITLE, blocks=blocks, note=_NOTE)


_MADE = Column(heading="Made", unit="UTC", share=92)
_BY = Column(heading="By", share=34)
_RECORD = Column(heading="Record", share=40)
_TEST_COLUMNS = (
    Column(heading="Fibre", share=26, kind=Kind.NUMBER, role=Role.FIBRE),
    Column(heading="Test", share=92),
    Column(heading="From and to", share=70),
    _MADE,
    Column(heading="Result", share=60),
    Column(heading="Instruments", share=80),
    _BY,
    _RECORD,
)
_WORK_COLUMNS = (
    Column(heading="Site", share=66),
    Column(heading="Work", share=70),
    Column(heading="Fibres", share=60),
    _MADE,
    Column(heading="Attempt", share=36, kind=Kind.NUMBER),
    Column(heading="Splicer", share=60),
    _BY,
    _RECORD,
)


def _is_about(record: RecordOutline, scope: frozenset[int]) -> bool:
    """Tell whether a record is about a fibre in scope, or about a site as a whole."""
    if record.spliced_fibres:
        return not scope.isdisjoint(record.spliced_fibres)
    return record.fibre is None or record.fibre in scope


def _test_rows(records: Sequence[RecordOutline], digits: int) -> Iterator[tuple[str, ...]]:
    tests = (record for record in records if record.kind in TESTS)
    for one in sorted(tests, key=lambda one: (one.fibre, named_test(one), ends_text(one), one.made_at, one.id)):
        yield (
            number_text(one.fibre),
            named_test(one),
            ends_text(one),
            utc_text(one.made_at),
            result_text(one),
            " / ".join(instrument.serial for instrument in one.instruments) or UNKNOWN,
            one.operator,
            one.id[:digits],
        )


def _work_rows(content: PackageContent, records: Sequence[RecordOutline], digits: int) -> Iterator[tuple[str, ...]]:
    order = {site.id: index for index, site in enumerate(content.design.sites)}
    work = ((record.site or "", record) for record in records if record.kind in _WORK)
    # A later design may have left a site out at which there was work.
    for site, one in sorted(work, key=lambda at: (order.get(at[0], len(order)), at[0], at[1].made_at, at[1].id)):
        yield (
            site,
            _work_text(one),
            _fibres_text(one),
            utc_text(one.made_at),
            number_text(one.attempt),
            one.splicer_serial or UNKNOWN,
            one.operator,
            one.id[:digits],
        )


def _work_text(record: RecordOutline) -> str:
    match record.kind:
        case RecordKind.CLOSURE_STATE:
            return words(record.state or UNKNOWN)
        case RecordKind.CLEANING:
            return f"cleaning{connection_text(record).removeprefix(record.site or '')}"
        case kind:
            return words(kind)


def _fibres_text(record: RecordOutline) -> str:
    return numbers_text(sorted(set(record.spliced_fibres))) or number_text(record.fibre)
