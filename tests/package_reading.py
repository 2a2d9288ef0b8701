"""Read a drawn package back, with a library that had no part in drawing it."""

import json
import re
from io import BytesIO
from itertools import combinations
from typing import Any

from pypdf import PdfReader

from worker.package.archive.document import pack
from worker.package.data.attachments import attached_files, attachments
from worker.package.data.content import PackageContent
from worker.package.document_model import Section, Table
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import CONTENT_WIDTH
from worker.package.pages.drawing import draw
from worker.package.pictures.picture import Picture, Text
from worker.package.sections.matrix import MATRIX_TITLE
from worker.package.view import build_view


def draw_content(content: PackageContent) -> bytes:
    """Return the package of some content."""
    files = {name: pack(parts) for name, parts in attached_files(content)}
    return draw(build_view(content), attachments=files)


def page_texts(pdf: bytes) -> list[str]:
    """Return the text of each page."""
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


def printed_words(content: PackageContent) -> str:
    """Return all that is printed of the content, however its lines break."""
    return " ".join(" ".join(page_texts(draw_content(content))).split())


def attached_documents(pdf: bytes) -> dict[str, Any]:
    """Return the files attached to a package, read by another library than wrote them."""
    return {name: json.loads(contents[0]) for name, contents in PdfReader(BytesIO(pdf)).attachments.items()}


def package_json(content: PackageContent) -> Any:
    """Return what the package of some content says of itself."""
    return json.loads(attachments(content)["package.json"])


def section_of(content: PackageContent, title: str) -> Section:
    """Return the section with a title."""
    return next(section for section in build_view(content).sections if section.title == title)


def rows_of(content: PackageContent, title: str) -> list[tuple[str, ...]]:
    """Return the rows of every table in the section with a title."""
    return [row for block in section_of(content, title).blocks if isinstance(block, Table) for row in block.rows]


def pictures_of(content: PackageContent, title: str) -> list[Picture]:
    """Return the pictures in the section with a title."""
    return [block for block in section_of(content, title).blocks if isinstance(block, Picture)]


def texts_of(picture: Picture) -> list[str]:
    """Return the texts of a picture in the order in which they are drawn."""
    return [mark.text for mark in picture.marks if isinstance(mark, Text)]


def text_boxes(picture: Picture) -> list[tuple[float, float, float, float, str]]:
    """Return left, top, right and bottom of each text of a picture, from its capitals down to its descenders."""
    metrics = FontMetrics()
    return [
        (
            one.x,
            one.y - 0.73 * one.style.size_pt,
            one.x + metrics.width(one.text, one.style),
            one.y + 0.2 * one.style.size_pt,
            one.text,
        )
        for one in picture.marks
        if isinstance(one, Text)
    ]


def assert_tidy(picture: Picture, *, beyond_pt: float = 0.0) -> None:
    """Hold that no label of a picture lies over another, nor further outside than so much."""
    boxes = text_boxes(picture)
    for one, other in combinations(boxes, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, (one, other)
    for left, top, right, bottom, text in boxes:
        assert left >= -0.01 and right <= CONTENT_WIDTH + 0.01, text
        assert top >= -beyond_pt and bottom <= picture.height_pt + beyond_pt, text


def squeezed(text: str) -> str:
    """Return text without white space, so that a line break in a cell does not matter."""
    return re.sub(r"\s+", "", text)


def decimals_in(document: Any) -> set[str]:
    """Return each string of a JSON document that is a decimal number."""
    match document:
        case dict():
            return set().union(*map(decimals_in, document.values()))
        case list():
            return set().union(*map(decimals_in, document))
        case str() if re.fullmatch(r"-?\d+\.\d+", document):
            return {document}
        case _:
            return set()


def matrix_rows(content: PackageContent) -> int:
    """Return in how many rows a package says again, by fibre and by criterion, how its findings came out."""
    return len(rows_of(content, MATRIX_TITLE))
