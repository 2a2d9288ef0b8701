"""A person's certificate, trusted by itself, vouches for that person's signature and for nothing else."""

from datetime import UTC, datetime, timedelta

import pytest
from cryptography.hazmat.primitives.serialization import Encoding

from tests.signed_documents import Signed
from tests.signing_people import SIGNING, Signatory, make_signatory, sign_as
from worker.signing.check.uploaded import pinned_signers
from worker.signing.check.verify import verify
from worker.signing.fields import ENGINEER_FIELD
from worker.signing.trust.role_trust import RoleTrust


def problems(package: Signed, signatory: Signatory, *, trusted: Signatory, after: timedelta = timedelta()) -> list[str]:
    """Return what a receiver finds who trusts the package's root and one certificate more."""
    signed = sign_as(signatory, package.countersigned, field=ENGINEER_FIELD)
    trust = RoleTrust(service=package.trust, engineer=[trusted.certificate.public_bytes(Encoding.PEM)])
    return list(verify(signed, trust=trust, now=datetime.now(UTC) + after).problems)


def test_a_certificate_is_trusted_by_itself_whoever_issued_it(package: Signed) -> None:
    unknown = make_signatory("Unknown authority", is_authority=True, usage=["key_cert_sign"])
    for person in (make_signatory(), make_signatory(issuer=unknown)):
        assert problems(package, person, trusted=person) == []
        assert "by nobody" in problems(package, person, trusted=make_signatory())[0]


def test_an_authority_vouches_for_whom_it_issued_a_certificate(package: Signed) -> None:
    authority = make_signatory("Authority", is_authority=True, usage=["key_cert_sign"])
    assert problems(package, make_signatory(issuer=authority), trusted=authority) == []


def test_a_person_is_no_authority_for_others(package: Signed) -> None:
    person = make_signatory()
    assert "by nobody" in problems(package, make_signatory("Another", issuer=person), trusted=person)[0]


def test_a_trusted_certificate_that_has_run_out_vouches_for_nothing(package: Signed) -> None:
    person = make_signatory(valid_until=datetime.now(UTC) + timedelta(hours=1))
    assert problems(package, person, trusted=person) == []
    assert "not valid on" in problems(package, person, trusted=person, after=timedelta(hours=2))[0]


@pytest.mark.parametrize("usage", [None, ["digital_signature"], ["key_agreement"]])
def test_a_trusted_certificate_that_may_not_sign_documents_vouches_for_nothing(
    package: Signed, usage: list[str] | None
) -> None:
    person = make_signatory(usage=usage)
    assert "The signature of the owner's engineer" in problems(package, person, trusted=person)[0]
    able = make_signatory(usage=SIGNING)
    assert problems(package, able, trusted=able) == []


def test_signers_are_found_in_a_file_by_their_fingerprints_and_no_others(package: Signed) -> None:
    person = make_signatory()
    signed = sign_as(person, package.countersigned, field=ENGINEER_FIELD)
    assert pinned_signers(signed, {person.fingerprint}) == [person.certificate]
    assert pinned_signers(signed, {make_signatory().fingerprint}) == []
    seal = package.key.certificate
    assert pinned_signers(signed, {person.fingerprint, package.key.certificate_sha256}) == [
        seal,
        seal,
        person.certificate,
    ]
