"""The records that the findings stand on: the tests of each fibre, and the work at each site, with who made them."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from service.vocabulary.words import RecordKind
from worker.package.data.content import PackageContent, PackagedRecord
from worker.package.document_model import Column, Kind, Role, Section, Table, listing, titled
from worker.package.phrases import UNKNOWN, number_text, numbers_text, utc_text, words
from worker.package.sections.evidence import instruments_of
from worker.package.wording.records import TESTS, connection_text, ends_text, named_test, result_text, telling_digits

RECORDS_TITLE = "Records behind the findings"

_NOTE = (
    "Every record about fibres submitted or about a site as a whole that was neither replaced nor withdrawn; arc "
    "calibrations are listed with the instruments. A person is named by the mark that the project's list of people "
    "explains. A record is named by so many first digits as tell all records of this package apart; the whole of it is "
    "in the attached data."
)
_WORK = frozenset({RecordKind.SPLICE, RecordKind.TERMINATION, RecordKind.CLEANING, RecordKind.CLOSURE_STATE})


def records_section(content: PackageContent, records: Sequence[PackagedRecord]) -> Section:
    """Return the tests by fibre and the work by site."""
    digits = telling_digits([record.body["id"] for record in records])
    scope = content.fibres_in_scope
    bodies = [record.body for record in records if not record.is_ended and _is_about(record.body, scope)]
    tests = Table(columns=_TEST_COLUMNS, rows=tuple(_test_rows(bodies, digits)), is_grouped=True)
    work = Table(columns=_WORK_COLUMNS, rows=tuple(_work_rows(content, bodies, digits)), is_grouped=True)
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


def _is_about(body: Mapping[str, Any], scope: frozenset[int]) -> bool:
    """Tell whether a record is about a fibre in scope, or about a site as a whole."""
    if "joints" in body:
        return any(joint["fibre"] in scope for joint in body["joints"])
    return "fibre" not in body or body["fibre"] in scope


def _test_rows(bodies: Sequence[Mapping[str, Any]], digits: int) -> Iterator[tuple[str, ...]]:
    tests = (body for body in bodies if body["kind"] in TESTS)
    for body in sorted(
        tests, key=lambda one: (one["fibre"], named_test(one), ends_text(one), one["made_at"], one["id"])
    ):
        yield (
            str(body["fibre"]),
            named_test(body),
            ends_text(body),
            utc_text(body["made_at"]),
            result_text(body),
            " / ".join(seen.serial for seen in instruments_of(body)) or UNKNOWN,
            body["operator"],
            body["id"][:digits],
        )


def _work_rows(content: PackageContent, bodies: Sequence[Mapping[str, Any]], digits: int) -> Iterator[tuple[str, ...]]:
    order = {site.id: index for index, site in enumerate(content.design.sites)}
    work = (body for body in bodies if body["kind"] in _WORK)
    # A later design may have left a site out at which there was work.
    for body in sorted(
        work, key=lambda one: (order.get(one["site"], len(order)), one["site"], one["made_at"], one["id"])
    ):
        yield (
            body["site"],
            _work_text(body),
            _fibres_text(body),
            utc_text(body["made_at"]),
            number_text(body.get("attempt")),
            body.get("splicer_serial", UNKNOWN),
            body["operator"],
            body["id"][:digits],
        )


def _work_text(body: Mapping[str, Any]) -> str:
    match body["kind"]:
        case RecordKind.CLOSURE_STATE:
            return words(body["state"])
        case RecordKind.CLEANING:
            return f"cleaning{connection_text(body).removeprefix(body['site'])}"
        case kind:
            return words(kind)


def _fibres_text(body: Mapping[str, Any]) -> str:
    if "joints" in body:
        return numbers_text(sorted({joint["fibre"] for joint in body["joints"]}))
    return number_text(body.get("fibre"))
