"""Every number in every table of a package's pages, read back by another program, is what the attached JSON gives."""

import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Any

import pytest

from service.vocabulary.design.design import Tray
from tests.factories import make_cable_laying
from tests.judged_routes import demo_content, large_content
from tests.package_factories import packaged, with_design, with_members, with_verdict
from tests.package_reading import attached_documents, draw_content
from tests.printed.attached import Attached
from tests.printed.expectations import FINDINGS_OF, rows
from tests.printed.findings import numbers_of_criterion
from tests.printed.index import INDEX, index_rows
from tests.printed.tables import PrintedTable, read_pages
from tests.printed.values import Row
from tests.unit.package.judged import judged_route, left_out_route, unbuilt_route
from tests.unit.package.located import make_spots
from worker.package.data.content import PackageContent

pytestmark = pytest.mark.slow


def with_ended_and_repeated_records() -> PackageContent:
    """Return a judged route of which a test and a splice were ended, a clock was off, and a test was made twice.

    The ended splice is annulled too; another has the splicer's own number, and a third was made for another route.
    """
    content = judged_route()
    first: dict[str, int] = {}
    for index, one in enumerate(content.records):
        first.setdefault(one.body["kind"], index)
    records = list(content.records)
    for kind in ("splice", "attenuation"):
        records[first[kind]] = replace(records[first[kind]], is_ended=True, end_reason="made on the wrong fibre")
    records[first["splice"]] = replace(records[first["splice"]], annulment_reason="photograph 7 shows fibre 9")
    splices = [index for index, one in enumerate(records) if one.body["kind"] == "splice" and not one.is_ended]
    numbered, elsewhere = splices[:2]
    records[numbered] = with_members(records[numbered], splicer_sequence=4711)
    records[elsewhere] = replace(records[elsewhere], is_of_other_route=True)
    records[first["otdr"]] = replace(records[first["otdr"]], clock_is_flagged=True)
    again = records[first["continuity"]]
    records.append(with_members(again, id="0" * 8 + again.body["id"][8:]))
    return replace(content, records=records)


def with_trays_and_cable_of_nobody() -> PackageContent:
    """Return a judged route with trays in two sites, some located, and a section that no segment names."""
    content = judged_route()
    first, second, *others = content.design.sites
    trays = tuple(Tray(number=number, capacity=24 if number < 4 else 12) for number in (5, 1, 2, 4))
    marks = {second.id: 3120.5, first.id: 4118.25}
    [segment, *rest] = content.design.segments
    cable, *behind = content.design.sections
    laid = [make_cable_laying(section=cable.id, marks_m=marks, **how) for how in ({}, {"reel": None})]
    located = with_verdict(
        replace(content, records=[*content.records, *map(packaged, laid)]),
        spots=[
            make_spots((1, 4), (6, 6), C1=(971, 5, 4), C2=(2025, 12, 5)),
            make_spots((7, 9), C2=(1999, 7, 3)),
            make_spots((10, 10), C2=(2003, 30, 0)),
        ],
    )
    return with_design(
        located,
        sites=(first.model_copy(update={"trays": trays[:1]}), second.model_copy(update={"trays": trays}), *others),
        sections=(cable.model_copy(update={"first_cable_fibre": 13, "fibre_count": 48}), *behind),
        segments=(segment.model_copy(update={"sections": segment.sections[1:]}), *rest),
    )


CONTENTS: dict[str, Callable[[], PackageContent]] = {
    "the demo's route": demo_content,
    "every quantity": judged_route,
    "ended and repeated records": with_ended_and_repeated_records,
    "trays, and cable of nobody": with_trays_and_cable_of_nobody,
    "an end that is not built yet": unbuilt_route,
    "96 fibres": lambda: large_content(fibres=96, closures=10),
}


@dataclass
class Compared:
    """How many numbers of a package's tables were held against its data, and what differs."""

    numbers: int = 0
    unchecked: set[tuple[str, str, str]] = field(default_factory=set)
    differences: list[str] = field(default_factory=list)


def compare(tables: list[PrintedTable], files: Mapping[str, Any], index: list[Row]) -> Compared:
    """Hold each row of each table against the data; rows are the same in number and, in any order, in all they say."""
    data, compared = Attached(files), Compared()
    for table in tables:
        name = f"{table.section} / {table.under}"
        if table.section == INDEX:
            # One table holds so many sections as find room.
            said = [{one: row[one] for one in table.headings if one in row} for row in index]
        else:
            said = rows(data, table.section, table.under, table.headings) or []
        if not said:
            compared.differences.append(f"{name}: nobody knows what it has to print")
            continue
        columns = {heading: table.column(heading) for heading in said[0]}
        printed = Counter(tuple(_plain(row[place], h) for h, place in columns.items()) for row in table.rows)
        wanted = Counter(tuple(_plain(row[heading], "") for heading in columns) for row in said)
        compared.numbers += sum(len(NUMBER.findall(row[place])) for row in table.rows for place in columns.values())
        compared.differences += [f"{name}: printed {row}" for row in printed - wanted]
        compared.differences += [f"{name}: missing {row}" for row in wanted - printed]
        compared.unchecked |= {
            (table.section, table.under, heading)
            for place, heading in enumerate(table.headings)
            if heading not in columns and any(NUMBER.search(row[place]) for row in table.rows)
        }
    return compared


NUMBER, SIGNED = re.compile(r"\d+(?:\.\d+)?"), re.compile(r"(?<!\w)-?\d+(?:\.\d+)?")

STANDARD = "IEC 61300-3-35:"


def _plain(text: str, heading: str) -> str:
    """Return text without white space, where a cell may be folded, and an outcome without its mark."""
    return re.sub(r"\s+", "", text[1:] if heading == "Outcome" else text)


@pytest.fixture(scope="module", params=CONTENTS)
def pdf(request: pytest.FixtureRequest) -> bytes:
    return draw_content(CONTENTS[request.param]())


@pytest.fixture(scope="module")
def tables(pdf: bytes) -> list[PrintedTable]:
    return read_pages(pdf).tables


# Of a criterion's limit, which is said in words, the numbers are compared by a test of their own.
IN_WORDS = {("Criteria as agreed", "", "Limit"), ("Criteria as agreed", "", "Wavelength")}


def test_every_number_of_every_table_is_what_the_attached_data_give(pdf: bytes, tables: list[PrintedTable]) -> None:
    compared = compare(tables, attached_documents(pdf), index_rows(tables))
    assert compared.differences == []
    assert compared.unchecked <= IN_WORDS
    assert compared.numbers > 4000


def test_what_one_fibre_shows_only_beside_the_others_is_printed_as_it_is_attached() -> None:
    drawn = draw_content(left_out_route())
    found = read_pages(drawn).tables
    compared = compare(found, attached_documents(drawn), index_rows(found))
    assert (compared.differences, compared.unchecked <= IN_WORDS) == ([], True)
    said = [cell for table in found for row in table.rows for cell in row if "beside its events" in str(cell)]
    assert said


def test_the_numbers_of_each_criterion_are_those_of_the_attached_criteria(
    pdf: bytes, tables: list[PrintedTable]
) -> None:
    by_code = {one["code"]: one for one in attached_documents(pdf)["criteria.json"]["criteria"]}
    [table] = [one for one in tables if (one.section, one.under) == ("Criteria as agreed", "")]
    assert [row[table.column("Code")].replace(" ", "") for row in table.rows] == list(by_code)
    for row, criterion in zip(table.rows, by_code.values(), strict=True):
        # The name of a standard is no number of the criterion's.
        words = " ".join(row[table.column(heading)].replace(STANDARD, "") for heading in ("Wavelength", "Limit"))
        said = set(SIGNED.findall(words))
        assert said == numbers_of_criterion(criterion), row


def test_no_finding_is_left_out_and_none_is_printed_twice(pdf: bytes, tables: list[PrintedTable]) -> None:
    findings = Attached(attached_documents(pdf)).findings
    printed = sum(len(one.rows) for one in tables if (one.section, one.under) in FINDINGS_OF)
    listed_elsewhere = {"workmanship", "required_test", "required_record"}
    assert printed == sum(f["quantity"] not in listed_elsewhere for f in findings) > 100


def test_each_section_that_lists_fibres_is_in_the_index_once(tables: list[PrintedTable]) -> None:
    listed = [one for table in tables if table.section == INDEX for one in table.headings if one != "Fibre"]
    assert len(listed) > 3
    assert sorted(listed) == sorted({*index_rows(tables)[0]} - {"Fibre"})


def test_tables_of_every_kind_of_finding_were_read() -> None:
    seen = {(one.section, one.under) for one in read_pages(draw_content(judged_route())).tables}
    assert set(FINDINGS_OF) - seen == set()


def splice_findings(files: Mapping[str, Any]) -> list[Any]:
    """Return the findings about splices, in order, after some of the first fibres."""
    return [
        f for one in files["findings.json"]["fibres"][6:] for f in one["findings"] if f["quantity"] == "splice_loss"
    ]


def _one_digit(text: str) -> str:
    """Return a text with its last digit another."""
    place = max(at for at, character in enumerate(text) if character.isdigit())
    return f"{text[:place]}{(int(text[place]) + 1) % 10}{text[place + 1 :]}"


def test_one_digit_more_or_less_in_any_number_of_the_data_is_found() -> None:
    pdf = draw_content(demo_content())
    tables = read_pages(pdf).tables
    index = index_rows(tables)
    for name in ("value", "low", "high", "limit", "margin", "position", "wavelength_nm"):
        files = attached_documents(pdf)
        finding = next(one for one in splice_findings(files) if name in one)
        other = _one_digit(str(finding[name]))
        finding[name] = other if isinstance(finding[name], str) else int(other)
        assert len(compare(tables, files, index).differences) == 2, name
    for direction, name in product(("a_to_b", "b_to_a"), ("value", "within")):
        files = attached_documents(pdf)
        reading = next(
            one
            for finding in splice_findings(files)
            for one in finding["readings"]
            if one["direction"] == direction and name in one
        )
        reading[name] = _one_digit(reading[name])
        assert len(compare(tables, files, index).differences) == 2, (direction, name)


def test_one_digit_more_or_less_in_any_cell_of_a_page_is_found() -> None:
    pdf = draw_content(demo_content())
    files, tables = attached_documents(pdf), read_pages(pdf).tables
    index = index_rows(tables)
    changed = 0
    for table in tables:
        for place, heading in enumerate(table.headings):
            row = next((one for one in table.rows if any(map(str.isdigit, one[place]))), None)
            if row is None or (table.section, table.under, heading) in IN_WORDS:
                continue
            before, row[place] = row[place], _one_digit(row[place])
            assert len(compare(tables, files, index).differences) == 2, (table.section, table.under, heading)
            row[place], changed = before, changed + 1
    assert changed > 60
