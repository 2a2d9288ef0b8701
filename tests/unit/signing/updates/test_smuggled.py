"""A signature brings nothing along: no drawing in another's place, no script, no place that grows over the page."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from pyhanko.pdf_utils import generic
from pyhanko.sign.fields import enumerate_sig_fields

from tests.signed_documents import Signed, expect, updated
from tests.signing_people import make_signatory, sign_as
from worker.signing.check.uploaded import check_uploaded
from worker.signing.fields import CONTRACTOR_FIELD, ENGINEER_FIELD, SEAL_FIELD

pytestmark = pytest.mark.slow

# Parts of the library have no types.
pdf: Any = generic
Change = Callable[[Any], None]
SCRIPT = {"/S": pdf.pdf_name("/JavaScript"), "/JS": pdf.TextStringObject("app.alert(1)")}


def problems(package: Signed, change: Change) -> list[str]:
    """Change the decided package in an update, sign that as the engineer, and return what is wrong with it."""
    engineer = make_signatory()
    signed = sign_as(engineer, updated(package.countersigned, change), field=ENGINEER_FIELD)
    expected = expect(package, engineer)
    return list(check_uploaded(signed, expected=expected, trust=package.trust, now=datetime.now(UTC)).problems)


def with_place(field: str, name: str, make: Callable[[Any], Any]) -> Change:
    """Return a change of one entry of a signature's place."""

    def change(writer: Any) -> None:
        [place] = [found for title, _, found in enumerate_sig_fields(writer) if title == field]
        entries = place.get_object()
        entries[pdf.pdf_name(name)] = make(writer)
        writer.update_container(entries)

    return change


def whole_page(_: Any) -> Any:
    return pdf.ArrayObject(pdf.NumberObject(edge) for edge in (0, 0, 595, 842))


def drawing(writer: Any) -> Any:
    form = {
        pdf.pdf_name("/Type"): pdf.pdf_name("/XObject"),
        pdf.pdf_name("/Subtype"): pdf.pdf_name("/Form"),
        pdf.pdf_name("/BBox"): pdf.ArrayObject(pdf.NumberObject(edge) for edge in (0, 0, 200, 60)),
    }
    return pdf.DictionaryObject(
        {pdf.pdf_name("/N"): writer.add_object(pdf.StreamObject(dict_data=form, stream_data=b"0 0 200 60 re f"))}
    )


def script(_: Any) -> Any:
    return pdf.DictionaryObject({pdf.pdf_name(name): value for name, value in SCRIPT.items()})


def script_on_opening(writer: Any) -> None:
    writer.root[pdf.pdf_name("/OpenAction")] = script(writer)
    writer.update_root()


def nothing(_: Any) -> None:
    """Change nothing."""


def test_a_signature_alone_is_taken(package: Signed) -> None:
    assert problems(package, nothing) == []


@pytest.mark.parametrize(
    "change",
    [
        with_place(ENGINEER_FIELD, "/Rect", whole_page),
        with_place(CONTRACTOR_FIELD, "/Rect", whole_page),
        with_place(CONTRACTOR_FIELD, "/AP", drawing),
        with_place(SEAL_FIELD, "/AP", drawing),
        with_place(CONTRACTOR_FIELD, "/TU", lambda _: pdf.TextStringObject("the owner's engineer")),
        with_place(ENGINEER_FIELD, "/A", script),
        script_on_opening,
    ],
    ids=["own place grows", "other place grows", "other place drawn", "seal drawn", "place renamed", "act", "opening"],
)
def test_what_comes_along_with_a_signature_is_refused(package: Signed, change: Change) -> None:
    assert any("changes it does not permit" in one for one in problems(package, change))
