"""Files whose tables and objects are packed into streams hide nothing there either."""

from datetime import UTC, datetime
from io import BytesIO
from typing import Any

import pytest
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.pdf_utils.writer import copy_into_new_writer
from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter, append_signature_field
from pyhanko.sign.signers import PdfSignatureMetadata, sign_pdf

from tests.signed_documents import make_document, unexplained_in, updated
from tests.signing_people import Signatory, make_signatory, sign_as
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD, SEAL_FIELD

pytestmark = pytest.mark.slow
# Parts of the library have no types.
pdf: Any = generic


@pytest.fixture(scope="module")
def engineer() -> Signatory:
    return make_signatory(valid_from=datetime(2026, 1, 1, tzinfo=UTC))


@pytest.fixture(scope="module")
def certified(engineer: Signatory) -> bytes:
    """Return a certified file whose tables are streams."""
    reader: Any = PdfFileReader(BytesIO(make_document()))
    packed, reserved = BytesIO(), BytesIO()
    copy_into_new_writer(reader, writer_kwargs={"stream_xrefs": True}).write(packed)  # type: ignore[no-untyped-call]
    writer: Any = IncrementalPdfFileWriter(BytesIO(packed.getvalue()))
    assert writer.stream_xrefs
    for name in (CONTRACTOR_FIELD, ENGINEER_FIELD, DECISION_FIELD, SEAL_FIELD):
        append_signature_field(writer, SigFieldSpec(name))
    writer.write(reserved)
    metadata = PdfSignatureMetadata(
        field_name=SEAL_FIELD,
        certify=True,
        docmdp_permissions=MDPPerm.FILL_FORMS,
        subfilter=SigSeedSubFilter.PADES,
    )
    sealed: BytesIO = sign_pdf(IncrementalPdfFileWriter(BytesIO(reserved.getvalue())), metadata, engineer.signer)
    return sealed.getvalue()


def packed(content: bytes) -> bytes:
    """Add an update with two objects in a stream."""

    def change(writer: Any) -> None:
        # The library takes an update whose objects all stand in a stream for an empty one.
        writer._force_write_when_empty = True
        stream = writer.prepare_object_stream(compress=False)
        for number in range(2):
            made = pdf.DictionaryObject({pdf.pdf_name("/Secret"): pdf.TextStringObject(f"kept{number}")})
            writer.add_object(made, obj_stream=stream)

    return updated(content, change)


def test_a_signature_in_a_file_of_streams_is_explained(certified: bytes, engineer: Signatory) -> None:
    assert unexplained_in(certified) == []
    assert unexplained_in(sign_as(engineer, certified, field=ENGINEER_FIELD)) == []


def test_objects_in_a_stream_that_nobody_uses_are_named(certified: bytes) -> None:
    [problem] = unexplained_in(packed(certified))
    assert "adds what nothing of its signature needs" in problem


def test_what_stands_in_a_stream_beside_its_objects_is_named(certified: bytes) -> None:
    update = packed(certified)
    start = update.index(b"<<", update.index(b"stream", update.rindex(b"/ObjStm")))
    end = update.index(b">>", start) + 2
    assert b"kept0" in update[start:end]
    hidden = b"null (" + b"x" * (end - start - 7) + b")"
    problems = unexplained_in(update[:start] + hidden + update[end:])
    assert any("holds more than the objects that its table names" in one for one in problems)


@pytest.mark.parametrize("hidden", [b"whatever", b"9 0 obj null endobj", b"% a note\n% and another"])
def test_bytes_between_objects_are_named_in_such_a_file_too(
    certified: bytes, engineer: Signatory, hidden: bytes
) -> None:
    signed = sign_as(engineer, certified, field=ENGINEER_FIELD)
    # Before the end of the update, behind its table: nothing that is found by its place moves.
    at = signed.rindex(b"startxref")
    [problem] = unexplained_in(signed[:at] + hidden + b"\n" + signed[at:])
    assert "bytes that belong to no object" in problem
