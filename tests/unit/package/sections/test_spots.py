"""Where the joints lie is printed site by site, in one table however many tubes there are, as the verdict has it."""

from typing import Any

from service.vocabulary.design.design import FibreRange, PlannedFibres
from service.vocabulary.design.words import FibreAction
from service.vocabulary.findings.finding import SpotsDocument
from tests.package_factories import make_content, with_design, with_verdict
from tests.package_reading import rows_of, section_of
from tests.unit.package.located import make_spots
from worker.package.data.content import PackageContent
from worker.package.document_model import Paragraph, Table
from worker.package.phrases import UNKNOWN
from worker.package.sections.spots import SPOTS_TITLE, spots_section

# In the usual content each section is 1840.50 m and 30 m of slack, 0.6 % excess: 1881.723 m of fibre.
FIRST, SECOND, THIRD = "1881.72", "3763.45", "5645.17"


def located(*groups: SpotsDocument, **size: int) -> PackageContent:
    """Return the usual content, twelve fibres of it, where these are found."""
    sized: Any = {"fibre_count": 12, **size}
    return with_verdict(make_content(**sized), spots=list(groups))


def test_each_site_says_where_it_lies_how_far_off_and_by_how_many_fibres() -> None:
    content = located(
        make_spots((1, 4), C01=(1910, 5, 4), C02=(3763, 6, 3)),
        make_spots((5, 6), (8, 8), C01=(1912, 9, 2)),
    )
    assert rows_of(content, SPOTS_TITLE) == [
        ("C01", FIRST, "1910 to 1912", "+28 to +30", "5 to 9", "12", "6", "7, 9 to 12"),
        ("C02", SECOND, "3763", "0", "6", "12", "3", "5 to 12"),
        ("C03", THIRD, UNKNOWN, UNKNOWN, UNKNOWN, "12", UNKNOWN, "1 to 12"),
    ]


def test_a_site_nearer_than_designed_is_off_by_less_than_nothing() -> None:
    content = located(make_spots((1, 4), C01=(1850, 5, 4)), make_spots((5, 12), C01=(1882, 5, 8)))
    assert rows_of(content, SPOTS_TITLE)[0][2:4] == ("1850 to 1882", "-32 to 0")


def test_what_stands_in_for_fibres_too_few_to_tell_is_a_spot_and_seen_on_none_of_them() -> None:
    content = located(make_spots((1, 10), C01=(1910, 5, 9)), make_spots((11, 12), C01=(1910, 5, 0)))
    assert rows_of(content, SPOTS_TITLE)[0] == ("C01", FIRST, "1910", "+28", "5", "12", "9", UNKNOWN)


def test_fibres_that_are_not_joined_at_a_site_are_not_missed_there() -> None:
    uncut = PlannedFibres(site="C01", fibres=FibreRange(first=3, last=12), action=FibreAction.UNCUT)
    content = with_design(located(make_spots((1, 1), C01=(1910, 5, 1))), splice_plan=(uncut,))
    assert rows_of(content, SPOTS_TITLE)[0] == ("C01", FIRST, "1910", "+28", "5", "2", "1", "2")


def test_a_route_of_which_nothing_was_located_says_so_in_one_line() -> None:
    for content in (make_content(), located()):
        [block] = section_of(content, SPOTS_TITLE).blocks
        assert isinstance(block, Paragraph)
        assert block.text.startswith("No site is located by what the fibres show together: ")


def test_72_tubes_and_42_sites_are_one_table_of_42_rows() -> None:
    sites = {f"C{number:02}": (1882 * number, 5, 12) for number in range(1, 43)}
    tubes = [make_spots((first, first + 11), **sites) for first in range(1, 865, 12)]
    content = with_design(located(*tubes, fibre_count=4, closure_count=42), fibre_count=864)
    _, table = spots_section(content).blocks
    assert isinstance(table, Table)
    assert len(table.rows) == 42
    assert {row[5:] for row in table.rows} == {("864", "864", UNKNOWN)}
