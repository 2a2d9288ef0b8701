"""The words of a PDF's pages, where another program finds them."""

import subprocess
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple
from xml.etree import ElementTree

from tests.outside_tools import require_tool

_WORD = "{http://www.w3.org/1999/xhtml}word"
_PAGE = "{http://www.w3.org/1999/xhtml}page"


class Word(NamedTuple):
    """A word with its page and its box in points, y growing downwards; `size` is that of its type."""

    page: int
    text: str
    left: float
    right: float
    top: float
    size: float

    @property
    def bottom(self) -> float:
        return self.top + self.size


def words_by_page(pdf: bytes) -> Iterator[list[Word]]:
    """Give the words of each page."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "package.pdf"
        file.write_bytes(pdf)
        done = subprocess.run([require_tool("pdftotext"), "-bbox", str(file), "-"], capture_output=True, check=True)
    for number, page in enumerate(ElementTree.fromstring(done.stdout).iter(_PAGE), start=1):
        yield [_word(element, page=number) for element in page.iter(_WORD)]


def _word(element: ElementTree.Element, *, page: int) -> Word:
    left, right, top, bottom = (float(element.attrib[name]) for name in ("xMin", "xMax", "yMin", "yMax"))
    return Word(page=page, text=element.text or "", left=left, right=right, top=top, size=round(bottom - top, 2))
