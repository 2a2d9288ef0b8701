"""A package is good only as it was signed: every other file gets a report that says what is wrong."""

import random
import socket
from datetime import timedelta
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest
from pyhanko.pdf_utils.generic import DictionaryObject, NameObject, TextStringObject
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter, append_signature_field
from pyhanko.sign.signers import PdfSignatureMetadata, sign_pdf

from tests.signed_documents import (
    CERTIFIED_AT,
    FINDINGS,
    NOW,
    Signed,
    flip_bit,
    make_document,
    signed_gaps,
    swap_first_page_text,
)
from worker.signing.check.parsing import read_attachment
from worker.signing.check.verify import verify
from worker.signing.errors import AttachmentNotFoundError, TrustUnreadableError
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD, SEAL_FIELD
from worker.signing.report import PackageReport
from worker.signing.trust.role_trust import RoleTrust


def check(pdf: bytes, *, signed: Signed) -> PackageReport:
    return verify(pdf, trust=RoleTrust(service=signed.trust), now=NOW)


def test_a_certified_package_is_good(signed: Signed) -> None:
    report = check(signed.certified, signed=signed)
    assert report.problems == ()
    assert report.is_sound
    assert report.signed_fields == (SEAL_FIELD,)
    assert report.certified_sha256 == report.sha256 == sha256(signed.certified).hexdigest()


def test_a_countersigned_package_is_good_and_still_holds_the_certified_one(signed: Signed) -> None:
    report = check(signed.countersigned, signed=signed)
    assert report.problems == ()
    assert report.signed_fields == (SEAL_FIELD, DECISION_FIELD)
    assert report.sha256 == sha256(signed.countersigned).hexdigest()
    assert report.certified_sha256 == sha256(signed.certified).hexdigest()
    assert report.attachments == {"findings.json": sha256(FINDINGS).hexdigest()}


def test_each_signature_is_reported_with_who_when_and_why(signed: Signed) -> None:
    seal, engineer = check(signed.countersigned, signed=signed).signatures
    assert (seal.signed_at, engineer.signed_at) == (CERTIFIED_AT, NOW)
    assert (seal.reason, engineer.reason) == ("Package issued", "Package accepted")
    assert (seal.covers_whole_file, engineer.covers_whole_file) == (False, True)
    assert (seal.changes, engineer.changes) == ("signatures in reserved fields", "none")
    for signature in (seal, engineer):
        assert signature.signer == "DEMONSTRATION seal, not for real use"
        assert signature.level == "PAdES B-B"
        assert signature.certificate_sha256 == signed.key.certificate_sha256
        assert signature.is_intact
        assert signature.is_trusted
        assert signature.is_demonstration


def test_verifying_asks_nobody_on_the_network(signed: Signed, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("the network was used")

    for name in ("connect", "connect_ex", "sendto"):
        monkeypatch.setattr(socket.socket, name, refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    assert check(signed.countersigned, signed=signed).is_sound


def test_an_unsigned_document_is_not_good(signed: Signed) -> None:
    report = check(signed.unsigned, signed=signed)
    assert report.problems == ("The document is not signed.",)
    assert report.certified_sha256 is None
    assert not report.is_sound


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7", b"not a PDF at all", b"%PDF-1.7\n%%EOF\n", bytes(1000)])
def test_what_is_no_pdf_is_reported_and_not_raised(signed: Signed, content: bytes) -> None:
    [problem] = check(content, signed=signed).problems
    assert problem.startswith("This is not a PDF that can be read")


def test_a_file_cut_short_anywhere_is_not_good(signed: Signed) -> None:
    pdf = signed.countersigned
    certified_length = len(signed.certified)
    # Cut exactly after the certified part it is the certified package again, and that is good.
    assert check(pdf[:certified_length], signed=signed).is_sound
    for length in (*range(1, len(pdf), len(pdf) // 40), certified_length - 1, certified_length + 1, len(pdf) - 1):
        assert not check(pdf[:length], signed=signed).is_sound, length


def test_no_flipped_bit_among_the_signed_bytes_goes_unseen(signed: Signed) -> None:
    pdf = signed.countersigned
    last_gap = signed_gaps(pdf)[-1]
    covered = [*range(last_gap.start), *range(last_gap.stop, len(pdf))]
    chosen = random.Random(20260504)
    for position in chosen.sample(covered, 60):
        changed = flip_bit(pdf, position=position, bit=chosen.randrange(8))
        assert not check(changed, signed=signed).is_sound, position


def test_a_changed_figure_breaks_the_seal(signed: Signed) -> None:
    position = signed.certified.index(b"/Producer")
    report = check(flip_bit(signed.certified, position=position + 1, bit=0), signed=signed)
    assert report.problems == (
        "The signature of the service's seal is broken: what it covers was changed after signing.",
    )
    assert not report.signatures[0].is_intact


@pytest.mark.parametrize("stage", ["certified", "countersigned"])
def test_a_page_swapped_by_an_update_is_seen(signed: Signed, stage: str) -> None:
    forged = swap_first_page_text(getattr(signed, stage))
    assert forged.startswith(getattr(signed, stage))
    report = check(forged, signed=signed)
    assert "The signature of the service's seal was followed by changes it does not permit." in report.problems
    assert report.signatures[0].is_intact
    assert report.signatures[0].changes == "content"


def test_a_signature_by_another_authority_is_not_trusted(signed: Signed, other_authority: Signed) -> None:
    report = check(other_authority.certified, signed=signed)
    [problem] = report.problems
    assert "nobody that a trusted authority vouches for" in problem
    assert report.signatures[0].is_intact
    assert not report.signatures[0].is_trusted


def test_with_nobody_trusted_nothing_is_good(signed: Signed) -> None:
    assert not verify(signed.certified, trust=RoleTrust(service=[]), now=NOW).is_sound


def test_trust_may_be_given_as_certificates_or_as_text_with_several(signed: Signed, other_authority: Signed) -> None:
    both = signed.trust[0] + other_authority.trust[0]
    assert verify(signed.certified, trust=RoleTrust(service=[signed.authority.root]), now=NOW).is_sound
    assert verify(signed.certified, trust=RoleTrust(service=[both]), now=NOW).is_sound
    with pytest.raises(TrustUnreadableError):
        verify(signed.certified, trust=RoleTrust(service=[b"no certificate"]), now=NOW)


@pytest.mark.parametrize("days", [-2, 366])
def test_outside_the_certificates_life_it_is_not_trusted(signed: Signed, days: int) -> None:
    [problem] = verify(signed.certified, trust=RoleTrust(service=signed.trust), now=NOW + timedelta(days=days)).problems
    assert "not valid on" in problem


def sign_otherwise(signed: Signed, *, metadata: PdfSignatureMetadata, reserved: tuple[str, ...]) -> bytes:
    """Sign the document with the right key, in a form that is not a package's."""
    writer = IncrementalPdfFileWriter(BytesIO(make_document()))
    for name in reserved:
        append_signature_field(writer, SigFieldSpec(name))
    output: BytesIO = sign_pdf(
        writer, metadata, signed.key.signer, new_field_spec=SigFieldSpec(str(metadata.field_name))
    )
    return output.getvalue()


PEOPLE = (CONTRACTOR_FIELD, ENGINEER_FIELD)


def test_a_document_without_the_reserved_fields_is_no_package(signed: Signed) -> None:
    metadata = PdfSignatureMetadata(
        field_name=SEAL_FIELD,
        certify=True,
        docmdp_permissions=MDPPerm.FILL_FORMS,
        subfilter=SigSeedSubFilter.PADES,
    )
    right = sign_otherwise(signed, metadata=metadata, reserved=PEOPLE)
    assert check(right, signed=signed).is_sound
    for reserved in ((), (ENGINEER_FIELD,), (*PEOPLE, "Another")):
        [problem] = check(sign_otherwise(signed, metadata=metadata, reserved=reserved), signed=signed).problems
        assert "exactly the signature fields" in problem


def test_a_document_with_a_field_for_text_is_no_package(signed: Signed) -> None:
    writer = IncrementalPdfFileWriter(BytesIO(make_document()))
    for name in PEOPLE:
        append_signature_field(writer, SigFieldSpec(name))
    text = {"/FT": NameObject("/Tx"), "/T": TextStringObject("Remark")}
    field = DictionaryObject({NameObject(name): value for name, value in text.items()})  # type: ignore[no-untyped-call]
    writer.root["/AcroForm"]["/Fields"].append(writer.add_object(field))
    metadata = PdfSignatureMetadata(
        field_name=SEAL_FIELD,
        certify=True,
        docmdp_permissions=MDPPerm.FILL_FORMS,
        subfilter=SigSeedSubFilter.PADES,
    )
    output: BytesIO = sign_pdf(writer, metadata, signed.key.signer, new_field_spec=SigFieldSpec(SEAL_FIELD))
    [problem] = check(output.getvalue(), signed=signed).problems
    assert "exactly the signature fields" in problem


@pytest.mark.parametrize("permissions", [MDPPerm.NO_CHANGES, MDPPerm.ANNOTATE])
def test_a_seal_that_permits_more_or_less_than_signatures_is_no_package(signed: Signed, permissions: MDPPerm) -> None:
    metadata = PdfSignatureMetadata(field_name=SEAL_FIELD, certify=True, docmdp_permissions=permissions)
    report = check(sign_otherwise(signed, metadata=metadata, reserved=PEOPLE), signed=signed)
    assert report.problems == ("The service's seal does not limit later changes to signatures.",)
    assert report.signatures[0].level == "CMS, not PAdES"


def test_a_signature_that_does_not_certify_is_no_seal(signed: Signed) -> None:
    metadata = PdfSignatureMetadata(field_name=SEAL_FIELD)
    report = check(sign_otherwise(signed, metadata=metadata, reserved=PEOPLE), signed=signed)
    assert report.problems == ("The first signature is not the service's seal that certifies the document.",)


def test_the_attachment_comes_out_as_it_went_in(signed: Signed) -> None:
    assert read_attachment(signed.countersigned, "findings.json") == FINDINGS


@pytest.mark.parametrize("name", ["", "other.json"])
def test_an_attachment_that_is_not_there_is_named(signed: Signed, name: str) -> None:
    with pytest.raises(AttachmentNotFoundError, match=f"named {name}"):
        read_attachment(signed.countersigned, name)


def test_no_attachment_comes_out_of_what_is_no_pdf() -> None:
    with pytest.raises(AttachmentNotFoundError, match="cannot be read"):
        read_attachment(b"nothing", "findings.json")


def test_the_font_and_its_licence_are_there() -> None:
    fonts = Path("worker/package/fonts")
    assert {"DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSansMono.ttf"} <= {f.name for f in fonts.iterdir()}
    assert "Bitstream Vera Fonts Copyright" in (fonts / "LICENSE-DejaVu.txt").read_text()
