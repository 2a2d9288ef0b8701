"""What says that a certificate still holds comes from its issuer's list, else from its responder, else not at all."""

from datetime import timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import ocsp
from cryptography.x509.oid import AuthorityInformationAccessOID

from tests.signed_documents import NOW, Signed
from tests.signing_people import make_signatory
from worker.signing.errors import RevocationUnknownError
from worker.signing.make.revocation import gather, read_revocation_list

ROOT = make_signatory("Root of the tests", is_authority=True)


def issue(*, responder: str | None) -> x509.Certificate:
    """Issue a certificate by a root, which names a responder or none."""
    access = None
    if responder is not None:
        location = x509.UniformResourceIdentifier(responder)
        description = x509.AccessDescription(AuthorityInformationAccessOID.OCSP, location)
        access = x509.AuthorityInformationAccess([description])
    return make_signatory("Leaf of the tests", issuer=ROOT, also=access).certificate


def respond(certificate: x509.Certificate) -> bytes:
    answer = (
        ocsp.OCSPResponseBuilder()
        .add_response(
            cert=certificate,
            issuer=ROOT.certificate,
            algorithm=SHA256(),
            cert_status=ocsp.OCSPCertStatus.GOOD,
            this_update=NOW - timedelta(hours=1),
            next_update=NOW + timedelta(days=1),
            revocation_time=None,
            revocation_reason=None,
        )
        .responder_id(ocsp.OCSPResponderEncoding.NAME, ROOT.certificate)
        .sign(ROOT.key, SHA256())
    )
    return answer.public_bytes(Encoding.DER)


def test_a_certificate_that_names_no_list_is_asked_for_at_its_responder() -> None:
    issued = issue(responder="http://responder.test/")
    asked: list[tuple[str, bytes | None]] = []

    def fetch(url: str, request: bytes | None) -> bytes:
        asked.append((url, request))
        return respond(issued)

    found = gather([issued, ROOT.certificate], fetch=fetch, given=())
    [(url, request)] = asked
    assert url == "http://responder.test/"
    assert request is not None
    assert ocsp.load_der_ocsp_request(request).serial_number == issued.serial_number
    [answer] = found.answers
    assert ocsp.load_der_ocsp_response(answer.dump()).serial_number == issued.serial_number
    assert found.lists == ()


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (b"busy", "sent no answer"),
        (ocsp.OCSPResponseBuilder.build_unsuccessful(ocsp.OCSPResponseStatus.TRY_LATER), "does not say: try_later"),
    ],
    ids=["garbage", "later"],
)
def test_a_responder_that_does_not_say_is_no_proof(answer: bytes | ocsp.OCSPResponse, said: str) -> None:
    issued = issue(responder="http://responder.test/")
    content = answer if isinstance(answer, bytes) else answer.public_bytes(Encoding.DER)
    with pytest.raises(RevocationUnknownError, match=said):
        gather([issued, ROOT.certificate], fetch=lambda _, __: content, given=())


@pytest.mark.parametrize("responder", [None, "ldap://responder.test/"])
def test_a_certificate_of_which_nobody_says_anything_is_named(responder: str | None) -> None:
    issued = issue(responder=responder)
    with pytest.raises(RevocationUnknownError, match=r"Leaf of the tests.*REVOCATION_LIST_DIR"):
        gather([issued, ROOT.certificate], fetch=never, given=())


def never(url: str, _: bytes | None) -> bytes:
    raise AssertionError(url)


def test_one_list_serves_every_certificate_of_its_issuer(signed: Signed) -> None:
    fetched: list[str] = []

    def fetch(url: str, _: bytes | None) -> bytes:
        fetched.append(url)
        return signed.authority.revocation_list(now=NOW)

    of_one_issuer = [signed.key.certificate, signed.authority.time_certificate, signed.authority.root]
    assert len(gather(of_one_issuer, fetch=fetch, given=()).lists) == 1
    assert fetched == ["http://revocation.invalid/demonstration.crl"]


def test_a_list_is_read_as_bytes_and_as_text(signed: Signed) -> None:
    listed = signed.authority.revocation_list(now=NOW, revoked=[signed.key.certificate])
    read = read_revocation_list(listed)
    assert [one.serial_number for one in read] == [signed.key.certificate.serial_number]
    assert read_revocation_list(read.public_bytes(Encoding.PEM)) == read
    assert gather([signed.key.certificate], fetch=never, given=[read]).lists[0].dump() == listed


def test_a_root_is_asked_about_nowhere(signed: Signed) -> None:
    assert gather([signed.authority.root], fetch=never, given=()).lists == ()
