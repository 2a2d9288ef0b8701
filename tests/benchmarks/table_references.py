"""The rows of a package drawn by the same library without our layout: what a row costs at least, and as one would."""

import time
from collections.abc import Iterator, Sequence
from io import BytesIO

from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import LongTable, SimpleDocTemplate

from worker.package.document_model import PackageView, Table

_ROWS_A_PAGE = 60
_TOP_PT, _LEFT_PT, _LEADING_PT, _SIZE_PT = 800, 40, 8.8, 7
_WIDTH_PT = 515

Rows = Sequence[tuple[str, ...]]


def tables_of(view: PackageView) -> list[Rows]:
    """Return the rows of every table in the sections."""
    return [block.rows for section in view.sections for block in section.blocks if isinstance(block, Table)]


def bare_canvas_s(tables: Sequence[Rows]) -> float:
    """Return how long a bare canvas takes for the same strings, with one text object for each column of a page."""
    began = time.perf_counter()
    canvas = Canvas(BytesIO(), pageCompression=1)
    for rows in tables:
        for page in _pages(rows):
            for column, texts in enumerate(zip(*page, strict=True)):
                text = canvas.beginText(_LEFT_PT + column * _WIDTH_PT / len(page[0]), _TOP_PT)
                text.setFont("Helvetica", _SIZE_PT, _LEADING_PT)
                for line in texts:
                    text.textLine(line)
                canvas.drawText(text)
            canvas.showPage()
    canvas.save()
    return time.perf_counter() - began


def long_table_s(tables: Sequence[Rows]) -> float:
    """Return how long the library's automatic long tables take for the same strings, with fixed widths."""
    began = time.perf_counter()
    style = [("FONTSIZE", (0, 0), (-1, -1), _SIZE_PT), ("LEADING", (0, 0), (-1, -1), _LEADING_PT)]
    flowables = [
        LongTable([list(row) for row in rows], colWidths=[_WIDTH_PT / len(rows[0])] * len(rows[0]), style=style)
        for rows in tables
        if rows
    ]
    SimpleDocTemplate(BytesIO(), pagesize=A4, pageCompression=1).build(flowables)
    return time.perf_counter() - began


def _pages(rows: Rows) -> Iterator[Rows]:
    for first in range(0, len(rows), _ROWS_A_PAGE):
        yield rows[first : first + _ROWS_A_PAGE]
