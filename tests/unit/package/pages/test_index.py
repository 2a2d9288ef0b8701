"""From a verdict to what is behind it: the index of fibres, the links, and the records with who made them."""

from dataclasses import replace
from io import BytesIO
from itertools import groupby
from typing import Any

import pytest
from pypdf import PdfReader

from tests.package_factories import with_members
from tests.package_reading import draw_content, page_texts, rows_of
from tests.page_words import words_by_page
from tests.unit.package.judged import judged_content
from worker.package.document_model import Table
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import PAGE_HEIGHT, RIGHT
from worker.package.pages.fibre_index import INDEX_TITLE, fibre_index
from worker.package.pages.table_layout import lay_out_table
from worker.package.sections.records import RECORDS_TITLE
from worker.package.view import build_view


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return draw_content(judged_content())


@pytest.fixture(scope="module")
def reader(pdf: bytes) -> PdfReader:
    return PdfReader(BytesIO(pdf))


@pytest.fixture(scope="module")
def texts(pdf: bytes) -> list[str]:
    return page_texts(pdf)


def test_the_index_names_the_page_on_which_each_section_begins_to_speak_of_each_fibre() -> None:
    section = fibre_index([("Joints", {"10": 7, "2": 5}), ("Suspicions", {}), ("End to end", {"2": 4})])
    table = next(block for block in section.blocks if isinstance(block, Table))
    assert [column.heading for column in table.columns] == ["Fibre", "Joints", "End to end"]
    assert list(table.rows) == [("2", "5", "4"), ("10", "7", "–")]  # noqa: RUF001


def test_an_index_of_many_sections_breaks_no_word_of_their_titles_and_stays_on_the_page() -> None:
    titles = [section.title for section in build_view(judged_content()).sections]
    section = fibre_index([(title, {"1": 2}) for title in titles])
    tables = [block for block in section.blocks if isinstance(block, Table)]
    assert [one.heading for table in tables for one in table.columns if one.heading != "Fibre"] == titles
    for table in tables:
        columns = lay_out_table(table, FontMetrics()).columns
        assert [" ".join(column.heading) for column in columns] == [column.heading for column in table.columns]
        assert columns[-1].right_pt <= RIGHT + 0.01


def test_every_page_the_index_names_has_a_row_of_its_fibre(texts: list[str]) -> None:
    named = [(fibre, page) for fibre, *pages in _index_rows(texts) for page in pages if page.isdigit()]
    assert {fibre for fibre, _ in named} == {"1", "2", "3"}
    assert len(named) > 20
    for fibre, page in named:
        firsts = [line.split()[0] for line in texts[int(page) - 1].splitlines() if line.strip()]
        assert fibre in firsts, (fibre, page)


def test_every_link_leads_to_a_page_and_is_printed(reader: PdfReader) -> None:
    links = [link for page in reader.pages for link in _links(page)]
    assert len(links) > 40
    for link in links:
        assert link["/F"] == 4
        assert _page_of(reader, link) is not None


def test_every_page_number_in_the_index_leads_to_that_page(reader: PdfReader, pdf: bytes, texts: list[str]) -> None:
    led, start = 0, _index_page(texts)
    for page, words in zip(reader.pages, words_by_page(pdf), strict=True):
        if page.page_number is not None and page.page_number >= start:
            for link in _links(page):
                left, bottom, right, top = (float(edge) for edge in link["/Rect"])
                inside = [
                    word.text
                    for word in words
                    if left - 1 < (word.left + word.right) / 2 < right + 1
                    and bottom < PAGE_HEIGHT - (word.top + word.bottom) / 2 < top
                ]
                assert set(inside) == {str((_page_of(reader, link) or 0) + 1)}
                led += len(inside)
    assert led == sum(page.isdigit() for _, *pages in _index_rows(texts) for page in pages) > 20


def test_what_is_open_leads_to_its_fibre_in_the_index(reader: PdfReader, texts: list[str]) -> None:
    rows = [row for row in rows_of(judged_content(), "What is undetermined") if row[0].isdigit()]
    start = _index_page(texts)
    # Behind the contents, which lead to the index too.
    led = [link for page in reader.pages[2:start] for link in _links(page) if (_page_of(reader, link) or 0) >= start]
    # Rows of one fibre below each other share a link.
    assert len(led) >= len(list(groupby(row[0] for row in rows))) > 1


def test_every_record_that_counts_is_listed_once_with_who_made_it() -> None:
    content = judged_content()
    rows = rows_of(content, RECORDS_TITLE)
    # Arc calibrations have a table of their own, beside the instruments.
    counting = [one.body for one in content.records if not one.is_ended and one.body["kind"] != "arc_calibration"]
    assert sorted((row[-1], row[-2]) for row in rows) == sorted((body["id"][:8], body["operator"]) for body in counting)
    assert len(rows) > 30


def test_work_at_a_site_that_a_later_design_left_out_is_listed_last() -> None:
    content = judged_content()
    index = next(index for index, one in enumerate(content.records) if one.body["kind"] == "closure_state")
    records = list(content.records)
    records[index] = with_members(records[index], site="GONE")
    assert rows_of(replace(content, records=records), RECORDS_TITLE)[-1][0] == "GONE"


def _links(page: Any) -> list[Any]:
    return [one.get_object() for one in page.get("/Annots", []) if one.get_object()["/Subtype"] == "/Link"]


def _index_page(texts: list[str]) -> int:
    return max(number for number, text in enumerate(texts) if INDEX_TITLE in text)


def _index_rows(texts: list[str]) -> list[list[str]]:
    text = "\n".join(texts[_index_page(texts) :])
    rows = [line.split() for line in text[text.rindex(INDEX_TITLE) :].splitlines()]
    return [row for row in rows if row and row[0].isdigit()]


def _page_of(reader: PdfReader, link: Any) -> int | None:
    place = link["/Dest"].get_object()
    return reader.get_page_number(place[0].get_object())
