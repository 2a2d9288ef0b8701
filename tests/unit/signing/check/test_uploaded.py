"""What a person signed is taken only as the package it was with that one signature more."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, sign_pdf

from tests.signed_documents import (
    Signed,
    attach,
    certify_document,
    countersign_document,
    expect,
    flip_bit,
    make_document,
    signed_gaps,
    swap_first_page_text,
)
from tests.signing_people import Signatory, make_signatory, sign_as
from worker.signing.check.uploaded import Expected, UploadReport, check_uploaded
from worker.signing.fields import CONTRACTOR_FIELD, ENGINEER_FIELD
from worker.signing.keys.signing_key import SigningKey
from worker.signing.trust.certificates import DEMONSTRATION_MARK, DOCUMENT_SIGNING

HOUR = timedelta(hours=1)
Change = Callable[["Desk"], bytes]


@dataclass(frozen=True, kw_only=True)
class Desk:
    """A decided package, and the engineer who signs it."""

    package: Signed
    engineer: Signatory

    @property
    def current(self) -> bytes:
        return self.package.countersigned

    @property
    def signed(self) -> bytes:
        return sign_as(self.engineer, self.current, field=ENGINEER_FIELD)

    @property
    def expected(self) -> Expected:
        return expect(self.package, self.engineer)

    def check(self, pdf: bytes, expected: Expected | None = None, *, now: datetime | None = None) -> UploadReport:
        return check_uploaded(
            pdf, expected=expected or self.expected, trust=self.package.trust, now=now or datetime.now(UTC)
        )

    def problems(self, pdf: bytes, expected: Expected | None = None) -> Sequence[str]:
        return self.check(pdf, expected).problems


@pytest.fixture(scope="module")
def desk(package: Signed) -> Desk:
    return Desk(package=package, engineer=make_signatory())


def test_the_package_with_the_engineers_signature_is_taken(desk: Desk) -> None:
    report = desk.check(desk.signed)
    assert report.problems == ()
    assert report.signature is not None
    assert (report.signature.field, report.signature.signer) == (ENGINEER_FIELD, "R. Ostrander")
    assert report.signature.certificate_sha256 == desk.engineer.fingerprint


@pytest.mark.parametrize("change", [lambda desk: b"", lambda desk: b"no PDF", lambda desk: desk.signed[1:]])
def test_what_does_not_begin_with_the_current_file_is_refused(desk: Desk, change: Change) -> None:
    [problem] = desk.problems(change(desk))
    assert problem.startswith("The file does not begin with the package's current file")


@pytest.mark.parametrize("position", [0, 3000, -1])
def test_one_bit_of_what_was_signed_before_is_enough(desk: Desk, position: int) -> None:
    at = position % len(desk.current)
    [problem] = desk.problems(flip_bit(desk.signed, position=at, bit=0))
    assert problem.startswith("The file does not begin")


def test_the_file_as_it_was_holds_no_new_signature(desk: Desk) -> None:
    assert desk.problems(desk.current)[0] == ("One signature was to be added to the package's current file, 0 were.")


def test_what_can_not_be_read_behind_the_current_file_is_refused(desk: Desk) -> None:
    for tail in (b"\nstartxref\n999999999\n%%EOF\n", b"\nxref\n0 1\ntrailer\n<< /Root 1 0 R >>\nstartxref\n-5\n%%EOF"):
        assert desk.problems(desk.current + tail) != ()


def test_two_signatures_at_once_are_refused(desk: Desk) -> None:
    both = sign_as(make_signatory(), desk.signed, field=CONTRACTOR_FIELD)
    assert desk.problems(both)[0] == "One signature was to be added to the package's current file, 2 were."


def test_a_signature_in_another_place_is_refused(desk: Desk) -> None:
    elsewhere = sign_as(desk.engineer, desk.current, field=CONTRACTOR_FIELD)
    problems = desk.problems(elsewhere)
    assert problems[0] == (
        "The signature is in the place of the contractor's responsible person, not of the owner's engineer."
    )
    assert any("contractor's responsible person is by nobody" in one for one in problems)


def test_a_signature_in_a_place_of_its_own_is_refused(desk: Desk) -> None:
    added = sign_as(desk.engineer, desk.current, field="Approval", is_new_field=True)
    problems = desk.problems(added)
    assert problems[0] == "The signature is in the place of Approval, not of the owner's engineer."
    assert any("exactly the signature fields" in one for one in problems)


@pytest.mark.parametrize("name", ["A\x00B", "A\u202eB", "A" * 5000])
def test_a_name_from_the_file_can_be_kept_and_shown(desk: Desk, name: str) -> None:
    problems = desk.problems(sign_as(desk.engineer, desk.current, field=name, is_new_field=True))
    assert problems != ()
    assert all(one.isprintable() and len(one) <= 1000 for one in problems)


def test_a_certificate_that_is_not_registered_is_refused(desk: Desk) -> None:
    stranger = make_signatory()
    problem, *rest = desk.problems(sign_as(stranger, desk.current, field=ENGINEER_FIELD))
    assert f"SHA-256 {stranger.fingerprint}, is not registered for the person" in problem
    assert rest != []


def test_a_registered_certificate_does_not_vouch_for_one_that_it_issued(desk: Desk) -> None:
    issued = make_signatory("R. Ostrander", issuer=desk.engineer)
    assert "is not registered" in desk.problems(sign_as(issued, desk.current, field=ENGINEER_FIELD))[0]


def test_the_services_own_key_is_nobodys_own(desk: Desk) -> None:
    metadata = PdfSignatureMetadata(field_name=ENGINEER_FIELD, subfilter=SigSeedSubFilter.PADES, md_algorithm="sha256")
    writer = IncrementalPdfFileWriter(BytesIO(desk.current))
    signed: BytesIO = sign_pdf(writer, metadata, desk.package.key.signer, existing_fields_only=True)
    assert "is not registered" in desk.problems(signed.getvalue())[0]


@pytest.mark.parametrize("signature_first", [True, False])
@pytest.mark.parametrize(
    "change", [swap_first_page_text, lambda pdf: attach(pdf, name="note.txt", content=b"accepted in full")]
)
def test_a_change_of_content_before_or_after_the_signature_is_refused(
    desk: Desk, change: Callable[[bytes], bytes], signature_first: bool
) -> None:
    changed = (
        change(desk.signed) if signature_first else sign_as(desk.engineer, change(desk.current), field=ENGINEER_FIELD)
    )
    assert changed.startswith(desk.current)
    assert any("changes it does not permit" in one for one in desk.problems(changed))


@pytest.mark.parametrize("tail", [b"\n", b"%", b"\x00" * 1000])
def test_bytes_behind_the_signature_are_refused(desk: Desk, tail: bytes) -> None:
    assert "Something was added to the file after the last signature." in desk.problems(desk.signed + tail)


def test_bytes_hidden_in_the_signatures_room_are_refused(desk: Desk) -> None:
    # Signed once: another signature may be a byte longer, and lie elsewhere.
    signed = desk.signed
    gap = signed_gaps(signed)[-1]
    hidden = bytearray(signed)
    hidden[gap.stop - 9 : gap.stop - 1] = b"0123abcd"
    assert any("leaves room in the file for bytes" in one for one in desk.problems(bytes(hidden)))


def test_a_broken_signature_is_refused(desk: Desk) -> None:
    signed = desk.signed
    inside = signed.index(b"/Reason (Seen)", len(desk.current)) + len(b"/Reason (S")
    assert any("is broken" in one for one in desk.problems(flip_bit(signed, position=inside, bit=1)))


def test_another_format_than_pades_is_refused(desk: Desk) -> None:
    other = sign_as(desk.engineer, desk.current, field=ENGINEER_FIELD, subfilter=SigSeedSubFilter.ADOBE_PKCS7_DETACHED)
    assert any("is not PAdES" in one for one in desk.problems(other))


def test_a_certificate_that_has_run_out_is_refused(desk: Desk) -> None:
    engineer = make_signatory(valid_until=datetime.now(UTC) + HOUR)
    signed = sign_as(engineer, desk.current, field=ENGINEER_FIELD)
    expected = replace(desk.expected, fingerprints=[engineer.fingerprint])
    assert desk.check(signed, expected).problems == ()
    later = desk.check(signed, expected, now=datetime.now(UTC) + 2 * HOUR).problems
    assert any("not valid on" in one for one in later)


@pytest.mark.parametrize(
    ("earliest", "latest", "said"),
    [
        (HOUR, 2 * HOUR, "before the package was issued"),
        (-2 * HOUR, -HOUR, "in the future"),
    ],
)
def test_a_time_that_can_not_be_is_refused(desk: Desk, earliest: timedelta, latest: timedelta, said: str) -> None:
    # From now, and not from when the tests were collected: that may be more than an hour ago.
    now = datetime.now(UTC)
    [problem] = desk.problems(desk.signed, replace(desk.expected, earliest=now + earliest, latest=now + latest))
    assert said in problem


def test_a_demonstration_certificate_signs_demonstrations_only(desk: Desk) -> None:
    engineer = make_signatory(f"{DEMONSTRATION_MARK} engineer")
    expected = replace(desk.expected, fingerprints=[engineer.fingerprint])
    # The tests' package is a demonstration itself.
    assert desk.problems(sign_as(engineer, desk.current, field=ENGINEER_FIELD), expected) == ()
    root = make_signatory("Authority", is_authority=True, usage=["key_cert_sign"])
    seal = make_signatory("Seal", issuer=root, purposes=[DOCUMENT_SIGNING])
    key = SigningKey(certificate=seal.certificate, chain=(root.certificate,), signer=seal.signer)
    now = datetime.now(UTC)
    earnest = countersign_document(certify_document(make_document(), key=key, signed_at=now), key=key, signed_at=now)
    signed = sign_as(engineer, earnest, field=ENGINEER_FIELD)
    report = check_uploaded(
        signed, expected=replace(expected, current=earnest), trust=[root.certificate], now=datetime.now(UTC)
    )
    assert report.problems == ("A demonstration certificate signs demonstrations only.",)


def test_the_second_person_signs_what_the_first_one_signed(desk: Desk) -> None:
    contractor = make_signatory("N. Quayle")
    first = sign_as(contractor, desk.current, field=CONTRACTOR_FIELD)
    both = sign_as(desk.engineer, first, field=ENGINEER_FIELD)
    expected = replace(desk.expected, current=first, signed_before=[contractor.fingerprint])
    assert desk.problems(both, expected) == ()
    unknown = replace(expected, signed_before=[])
    assert any("contractor's responsible person" in one for one in desk.problems(both, unknown))
