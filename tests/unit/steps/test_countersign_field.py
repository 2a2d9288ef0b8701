"""Where a decision is sealed: in its own place; in packages of the first release in the engineer's, if it is free."""

from io import BytesIO

import pytest
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigFieldSpec, append_signature_field

from service.vocabulary.signatures import SignaturePlace
from tests.signed_documents import make_document
from tests.signing_people import make_signatory, sign_as
from worker.signing.fields import DECISION_FIELD, ENGINEER_FIELD, FORMS
from worker.steps.countersign import place_for


def with_fields(form: int) -> bytes:
    """Return a document with the places of a form, none of them signed."""
    writer = IncrementalPdfFileWriter(BytesIO(make_document()))
    for name in FORMS[form]:
        append_signature_field(writer, SigFieldSpec(name, box=(50, 60, 250, 120)))
    output = BytesIO()
    writer.write(output)  # type: ignore[no-untyped-call]
    return output.getvalue()


def signed(form: int, field: str) -> bytes:
    return sign_as(make_signatory(), with_fields(form), field=field)


@pytest.mark.parametrize("is_signed_after", [True, False])
def test_a_decision_is_sealed_once_in_its_own_place(is_signed_after: bool) -> None:
    assert place_for(with_fields(2), is_signed_after=is_signed_after) is SignaturePlace.DECISION
    assert place_for(signed(2, DECISION_FIELD), is_signed_after=is_signed_after) is None


@pytest.mark.parametrize(("is_signed_after", "place"), [(False, SignaturePlace.ENGINEER), (True, None)])
def test_a_package_without_that_place_is_sealed_in_the_engineers_unless_an_own_key_signs_there(
    is_signed_after: bool, place: SignaturePlace | None
) -> None:
    assert place_for(with_fields(1), is_signed_after=is_signed_after) is place
    assert place_for(signed(1, ENGINEER_FIELD), is_signed_after=is_signed_after) is None
