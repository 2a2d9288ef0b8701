"""A certificate is registered only if its holder can sign documents with it now."""

from datetime import UTC, datetime, timedelta

import pytest
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from service.vocabulary.certificates import CertificateUnfitError, read_certificate
from tests.signing_people import make_signatory

NOW = datetime.now(UTC)
HOUR = timedelta(hours=1)
NOT_SIGNING = ("digital_signature", "key_encipherment")


def refused(text: str, *, now: datetime = NOW) -> str:
    with pytest.raises(CertificateUnfitError) as refusal:
        read_certificate(text, now=now)
    return str(refusal.value)


def test_what_is_kept_of_a_certificate_is_what_it_says() -> None:
    person = make_signatory("R. Ostrander")
    found = read_certificate(f"Bag attributes: from a card\n{person.pem}", now=NOW)
    assert (found.sha256, found.subject, found.pem) == (person.fingerprint, "CN=R. Ostrander", person.pem)
    assert found.valid_from == person.certificate.not_valid_before_utc
    assert found.valid_until == person.certificate.not_valid_after_utc


def test_who_issued_it_does_not_matter() -> None:
    authority = make_signatory("Authority", is_authority=True, usage=["key_cert_sign"])
    assert read_certificate(make_signatory(issuer=authority).pem, now=NOW).subject == "CN=R. Ostrander"


def test_a_name_that_would_print_otherwise_than_it_reads_is_marked() -> None:
    assert read_certificate(make_signatory("R.\u202eO").pem, now=NOW).subject == "CN=R.\ufffdO"


@pytest.mark.parametrize(
    "text", ["", "Corin Haldersby", "-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----", "\x00"]
)
def test_what_is_no_certificate_is_refused(text: str) -> None:
    assert refused(text) == "is not a certificate in PEM text"


def test_a_chain_is_refused_for_nobody_can_tell_whose_certificate_is_meant() -> None:
    assert "several" in refused(make_signatory().pem + make_signatory().pem)


def test_a_private_key_is_refused_before_anything_else_is_looked_at() -> None:
    person = make_signatory()
    key = person.key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()).decode()
    assert "private key" in refused(person.pem + key)


def test_a_certificate_is_taken_within_its_dates_only() -> None:
    person = make_signatory(valid_from=NOW - HOUR, valid_until=NOW + HOUR)
    first, last = person.certificate.not_valid_before_utc, person.certificate.not_valid_after_utc
    for moment in (first, last):
        assert read_certificate(person.pem, now=moment)
    for moment in (first - timedelta(seconds=1), last + timedelta(seconds=1)):
        assert refused(person.pem, now=moment) == "is not valid now"


@pytest.mark.parametrize("usage", [None, (), NOT_SIGNING])
def test_a_certificate_that_may_not_commit_its_holder_is_refused(usage: tuple[str, ...] | None) -> None:
    assert "contentCommitment" in refused(make_signatory(usage=usage).pem)


def test_an_authority_is_no_person() -> None:
    assert "authority" in refused(make_signatory(is_authority=True).pem)


def test_a_short_key_is_refused() -> None:
    keys = [rsa.generate_private_key(public_exponent=65537, key_size=bits) for bits in (1024, 2048)]
    short, enough = (make_signatory(key=key).pem for key in keys)
    assert "2048" in refused(short)
    assert read_certificate(enough, now=NOW)
