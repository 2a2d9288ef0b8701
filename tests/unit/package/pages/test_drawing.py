"""What is drawn: always the same, complete, framed on each page, and never led astray by text from outside."""

import hashlib
import os
import re
import subprocess
import sys
from dataclasses import replace
from io import BytesIO

import pytest
from pypdf import PdfReader

from service.vocabulary.findings.concession import Concession
from service.vocabulary.signatures import SignedBy
from tests.package_factories import make_content, with_many_segments
from tests.package_reading import draw_content, page_texts, squeezed
from worker.package.fonts.text_style import BOTTOM, CELL, LEFT, PAGE_HEIGHT, PAGE_WIDTH, RIGHT, TOP
from worker.package.pages.drawing import DEMONSTRATION, SIGNATURE_BOXES, SIGNING_PAGE
from worker.package.pages.fibre_index import INDEX_TITLE
from worker.package.view import build_view

HOSTILE = "\u202e" + "W" * 1500 + "\x00\x1b \u2066" + "lid " * 620 + "\U0001f600"


def test_the_same_content_gives_the_same_bytes() -> None:
    assert draw_content(make_content()) == draw_content(make_content())


def test_neither_hash_seed_nor_time_zone_nor_clock_changes_a_byte() -> None:
    code = (
        "import hashlib, sys; from tests.package_factories import make_content; "
        "from tests.package_reading import draw_content; "
        "print(hashlib.sha256(draw_content(make_content())).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone},
            capture_output=True,
            text=True,
            check=True,
        ).stdout.strip()
        for seed, zone in [("1", "UTC"), ("2", "Asia/Tokyo")]
    }
    assert digests == {hashlib.sha256(draw_content(make_content())).hexdigest()}


def test_markup_in_user_text_is_printed_as_it_was_typed() -> None:
    name = '<b>0.35</b> <img src="/etc/hostname"/> <!-- hidden -->'
    reason = '<font color="white">FAIL</font> &amp; <para fontSize=1> <a href="javascript:x()">y</a>'
    concession = Concession(criterion="SPL-1550", fibre=1, site="C01", position=1, reason=reason)
    pages = page_texts(draw_content(make_content(project_name=name, concessions=[concession])))
    assert squeezed(name) in squeezed(pages[0])
    assert squeezed(reason) in squeezed("".join(pages))


def test_a_character_without_a_glyph_is_replaced_where_all_can_see_it() -> None:
    pages = page_texts(draw_content(make_content(responsible_person="Ō 张 Ω")))
    assert "Ō \N{REPLACEMENT CHARACTER} Ω" in pages[0]


def test_table_headings_are_repeated_on_each_page() -> None:
    pages = page_texts(draw_content(make_content(fibre_count=30, closure_count=8)))
    assert all("Outcome" in text for text in pages if "□ conforming" in text)
    assert sum("Value or bounds" in text for text in pages) > 5


def test_each_page_says_its_number_of_how_many_and_the_package() -> None:
    pages = page_texts(draw_content(make_content(fibre_count=12, closure_count=8)))
    for number, text in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in text
        assert "HBR-7/2" in text


@pytest.mark.parametrize("is_demonstration", [True, False])
def test_a_demonstration_says_so_on_every_page_and_nothing_else_does(is_demonstration: bool) -> None:
    pages = page_texts(draw_content(make_content(is_demonstration=is_demonstration)))
    assert {DEMONSTRATION in text for text in pages} == {is_demonstration}


def test_the_outline_leads_to_each_section() -> None:
    content = make_content()
    reader = PdfReader(BytesIO(draw_content(content)))
    titles = [entry.title for entry in reader.outline if not isinstance(entry, list)]
    titles_of_sections = [*(section.title for section in build_view(content).sections), INDEX_TITLE]
    sections = [f"{number}  {title}" for number, title in enumerate(titles_of_sections, start=1)]
    assert titles == ["Acceptance package", "Decision and signatures", *sections]
    for entry, title in zip(reader.outline[2:], sections, strict=True):
        page = reader.get_destination_page_number(entry)  # type: ignore[arg-type]
        assert page is not None
        assert title.split("  ")[1] in reader.pages[page].extract_text()


def test_the_contents_name_the_page_each_section_starts_on() -> None:
    pages = page_texts(draw_content(make_content(fibre_count=12, closure_count=8)))
    joints_page = next(n for n, text in enumerate(pages, start=1) if re.search(r"\d  Joints", text))
    assert re.search(rf"Joints\s*{joints_page}\b", pages[2])


def test_nothing_is_drawn_outside_the_margins() -> None:
    content = make_content(project_name=HOSTILE, owner=HOSTILE)
    records = [replace(record, end_reason=HOSTILE) for record in content.records]
    starts = _text_starts(draw_content(replace(content, records=records)))
    assert starts
    for x, y, _ in starts:
        assert LEFT - 0.01 <= x <= RIGHT
        assert 0 < y < PAGE_HEIGHT
    assert BOTTOM < TOP < PAGE_HEIGHT


def test_a_row_higher_than_a_page_is_cut_and_says_so() -> None:
    [record, *others] = make_content().records
    ended = replace(record, is_ended=True, clock_is_flagged=False, end_reason="pit " * 4000)
    pages = page_texts(draw_content(make_content(records=[ended, *others])))
    assert any(re.search(r"pit\s+…", text) for text in pages)


def test_the_signature_frames_are_drawn_where_the_fields_will_go_and_hold_nothing() -> None:
    content = make_content(owner=HOSTILE, contractor=HOSTILE, contractor_signature=SignedBy.OWN_KEY)
    crowded = with_many_segments(content, count=30, name="North bank " * 20)
    reader = PdfReader(BytesIO(draw_content(crowded)))
    drawn = reader.pages[SIGNING_PAGE - 1].get_contents().get_data().decode("latin-1")  # type: ignore[union-attr]
    for x1, y1, x2, y2 in SIGNATURE_BOXES.values():
        assert 0 < x1 < x2 < PAGE_WIDTH
        assert f"{x1:.2f} {y1:.2f} {x2 - x1:.2f} {y2 - y1:.2f} re" in drawn
        for x, y, text in _text_starts_of_page(reader, SIGNING_PAGE - 1):
            assert not (x1 <= x <= x2 and y1 - CELL.size_pt < y < y2), text


def _text_starts(pdf: bytes) -> list[tuple[float, float, str]]:
    reader = PdfReader(BytesIO(pdf))
    return [start for page in range(len(reader.pages)) for start in _text_starts_of_page(reader, page)]


def _text_starts_of_page(reader: PdfReader, page: int) -> list[tuple[float, float, str]]:
    drawn = reader.pages[page].get_contents().get_data().decode("latin-1")  # type: ignore[union-attr]
    placed = re.findall(r"^1 0 0 1 (-?[\d.]+) (-?[\d.]+) Tm (.*)$", drawn, re.MULTILINE)
    return [(float(x), float(y), text) for x, y, text in placed]
