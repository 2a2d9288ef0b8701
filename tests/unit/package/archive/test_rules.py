"""Each private part of ReportLab that is touched is what it was: where a newer release broke one, it is named here."""

import inspect
from importlib.metadata import requires
from importlib.util import find_spec, module_from_spec
from io import BytesIO
from operator import attrgetter
from typing import Any

import pytest
from reportlab.pdfbase import pdfdoc, ttfonts
from reportlab.pdfgen.canvas import Canvas

from worker.package.archive import rules
from worker.package.fonts.font_metrics import load_face
from worker.package.fonts.text_style import Face


def _canvas() -> Any:
    return Canvas(BytesIO(), invariant=1)


def _untouched(name: str) -> Any:
    """Return a module of the library as it comes, without what is replaced in it."""
    spec = find_spec(name)
    assert spec is not None and spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    ("module", "name", "parameters"),
    [
        ("reportlab.pdfbase.pdfdoc", "PDFStream.format", 2),
        ("reportlab.pdfbase.pdfdoc", "PDFPage.setStream", 2),
        ("reportlab.pdfbase.pdfdoc", "PDFDocument.Reference", 2),
        ("reportlab.pdfbase.pdfdoc", "PDFDocument.updateSignature", 2),
        ("reportlab.pdfbase.ttfonts", "makeToUnicodeCMap", 2),
        ("reportlab.pdfgen.canvas", "Canvas._addAnnotation", 2),
    ],
)
def test_what_is_replaced_or_called_takes_what_it_took(module: str, name: str, parameters: int) -> None:
    part = attrgetter(name)(_untouched(module))
    taken = list(inspect.signature(part).parameters.values())
    assert len(taken) >= parameters
    assert [one.default is inspect.Parameter.empty for one in taken[:parameters]] == [True] * parameters
    assert inspect.Parameter.empty not in [one.default for one in taken[parameters:]]


def test_pages_streams_and_character_maps_are_made_by_what_is_replaced() -> None:
    assert pdfdoc.PDFStream.format is rules._end_stream_on_its_own_line
    assert pdfdoc.PDFPage.setStream is rules._compress_at_once
    assert ttfonts.makeToUnicodeCMap is rules._map_used_codes
    canvas = _canvas()
    canvas.addLiteral("q Q")
    canvas.showPage()
    written = canvas.getpdfdata()
    assert b"\nendstream" in written
    # ReportLab's own page stream would be ASCII85.
    assert b"ASCII85Decode" not in written


def test_a_catalog_keeps_what_it_is_allowed_to_keep() -> None:
    canvas = _canvas()
    document = rules.document_of(canvas)
    assert isinstance(document, pdfdoc.PDFDocument)
    document.Catalog.OutputIntents = pdfdoc.PDFArray([])
    assert "OutputIntents" not in document.Catalog.__NoDefault__
    rules.allow_in_catalog(document, ["OutputIntents"])
    assert b"/OutputIntents" in canvas.getpdfdata()


def test_a_link_leads_to_a_page_by_the_name_that_pages_have() -> None:
    canvas = _canvas()
    rules.add_link(canvas, (1.0, 2.0, 3.0, 4.0), page=2, y=5.0)
    for _ in range(2):
        canvas.showPage()
    written = canvas.getpdfdata()
    objects = dict(part.split(b" 0 obj\n", 1) for part in written.split(b"endobj\n") if b" 0 obj\n" in part)
    numbered = {number.rpartition(b"\n")[2]: body for number, body in objects.items()}
    [link] = [body for body in numbered.values() if b"/Subtype /Link" in body]
    target = link.split(b"/Dest [")[1].split()[0]
    assert b"/Type /Page\n" in numbered[target]


@pytest.mark.parametrize("face", Face)
def test_a_face_has_the_tables_that_are_read(face: Face) -> None:
    font = load_face(face)
    assert len(font.face.get_table("hhea")) == 36
    assert len(font.face.hmetrics) > len(font.face.charToGlyph) / 2
    assert font.splitString("A", _canvas()._doc)[0][0] == 0


def test_the_version_is_bounded_from_above() -> None:
    [bound] = [one for one in requires("route-acceptance") or () if one.startswith("reportlab")]
    assert "<" in bound
