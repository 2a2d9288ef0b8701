"""The service's time stamp over what a person signed: it lifts the signature to PAdES B-T, or nothing is let out."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest
from pyhanko.pdf_utils.reader import PdfFileReader

from service.vocabulary.signatures import SignatureLevel
from tests.signed_documents import Signed, expect, make_authorities
from tests.signing_people import Signatory, make_signatory, sign_as
from worker.signing.check.uploaded import check_uploaded
from worker.signing.errors import AuthorityError, DocumentUnsignableError, OwnSignatureError
from worker.signing.fields import ENGINEER_FIELD
from worker.signing.make.pdf_signer import stamp_document
from worker.signing.make.sealing import Authorities
from worker.signing.report import Signed as Stamped
from worker.signing.trust.role_trust import RoleTrust

NOW = datetime.now(UTC)


@pytest.fixture(scope="module")
def engineer() -> Signatory:
    return make_signatory()


@pytest.fixture(scope="module")
def signed(package: Signed, engineer: Signatory) -> bytes:
    return sign_as(engineer, package.countersigned, field=ENGINEER_FIELD)


@pytest.fixture(scope="module")
def authorities(package: Signed) -> Authorities:
    return make_authorities(package.authority, now=NOW)


def stamp(pdf: bytes, package: Signed, engineer: Signatory, authorities: Authorities) -> Stamped:
    trust = RoleTrust(service=package.trust, engineer=[engineer.certificate])
    return stamp_document(pdf, authorities=authorities, trust=trust, now=datetime.now(UTC))


def test_a_stamped_file_begins_with_what_was_signed_and_proves_when(
    package: Signed, signed: bytes, engineer: Signatory, authorities: Authorities
) -> None:
    stamped = stamp(signed, package, engineer, authorities)
    assert stamped.pdf.startswith(signed)
    assert (stamped.report.problems, stamped.report.level) == ((), SignatureLevel.B_T)
    assert [one.stated_at for one in stamped.report.timestamps] == [NOW + timedelta(seconds=1)]
    last = PdfFileReader(BytesIO(stamped.pdf)).embedded_signatures[-1].sig_object
    # EN 319 142-1, 5.5 (from memory): a document time stamp is of this type and encoding.
    assert (last["/Type"], last["/SubFilter"]) == ("/DocTimeStamp", "/ETSI.RFC3161")


def test_a_time_that_nobody_trusts_is_not_let_out(
    package: Signed, signed: bytes, engineer: Signatory, other_authority: Signed
) -> None:
    untrusted = replace(make_authorities(other_authority.authority, now=NOW), trust=(package.authority.root,))
    with pytest.raises(OwnSignatureError):
        stamp(signed, package, engineer, untrusted)


def test_a_file_that_is_not_good_is_not_let_out_for_its_stamp(
    package: Signed, engineer: Signatory, authorities: Authorities
) -> None:
    stranger = sign_as(make_signatory(), package.countersigned, field=ENGINEER_FIELD)
    with pytest.raises(OwnSignatureError):
        stamp(stranger, package, engineer, authorities)
    with pytest.raises(DocumentUnsignableError):
        stamp(b"no PDF", package, engineer, authorities)


def test_an_authority_that_is_away_says_so(
    package: Signed, signed: bytes, engineer: Signatory, authorities: Authorities
) -> None:
    def away(_: bytes) -> bytes:
        raise AuthorityError("time.example did not answer.")

    with pytest.raises(AuthorityError, match="did not answer"):
        stamp(signed, package, engineer, replace(authorities, ask_time=away))


@pytest.mark.parametrize(
    ("asked", "is_stamped_after", "is_taken"),
    [
        (SignatureLevel.B_B, False, True),
        (SignatureLevel.B_T, True, True),
        (SignatureLevel.B_T, False, False),
        (SignatureLevel.B_LTA, True, False),
    ],
)
def test_a_signature_without_a_time_is_taken_at_b_t_only_where_the_service_stamps_it(
    package: Signed, signed: bytes, engineer: Signatory, asked: SignatureLevel, is_stamped_after: bool, is_taken: bool
) -> None:
    expected = expect(package, engineer, level=asked, is_stamped_after=is_stamped_after)
    report = check_uploaded(signed, expected=expected, trust=package.trust, now=datetime.now(UTC))
    assert (report.problems == ()) is is_taken
    assert report.is_stamped is False


def test_a_file_that_came_stamped_is_told_from_one_that_did_not(
    package: Signed, signed: bytes, engineer: Signatory, authorities: Authorities
) -> None:
    stamped = stamp(signed, package, engineer, authorities)
    expected = expect(package, engineer, level=SignatureLevel.B_T)
    report = check_uploaded(stamped.pdf, expected=expected, trust=package.trust, now=datetime.now(UTC))
    assert (report.problems, report.is_stamped, report.level) == ((), True, SignatureLevel.B_T)
