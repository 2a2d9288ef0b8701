"""Whatever is done to a signed package, at whatever level, it is seen; a time stamp on top hides nothing."""

import random
from collections.abc import Callable
from datetime import timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from asn1crypto import cms
from pyhanko.pdf_utils.generic import DictionaryObject, NameObject, TextStringObject
from pyhanko.pdf_utils.reader import PdfFileReader

from service.vocabulary.signatures import SignatureLevel
from tests.signed_documents import (
    NOW,
    Signed,
    attach,
    flip_bit,
    make_signed,
    sign_document,
    signed_gaps,
    swap_first_page_text,
    time_stamped,
    updated,
)
from worker.signing.check.verify import verify
from worker.signing.report import PackageReport
from worker.signing.trust.role_trust import RoleTrust

pytestmark = pytest.mark.slow

LEVELS = list(SignatureLevel)
ADDED = "Something was added to the file after the last signature."
CHANGED = "The signature of the service's seal was followed by changes it does not permit."
BROKEN = "The signature of the service's seal is broken: what it covers was changed after signing."
Tamper = Callable[[bytes], bytes]


@pytest.fixture(scope="module", params=LEVELS)
def package(request: pytest.FixtureRequest, signed: Signed) -> Signed:
    return sign_document(signed.authority, level=request.param)


def check(pdf: bytes, *, signed: Signed) -> PackageReport:
    return verify(pdf, trust=RoleTrust(service=signed.trust), now=NOW + timedelta(minutes=1))


def change_info(pdf: bytes) -> bytes:
    def change(writer: Any) -> None:
        writer.trailer["/Info"][NameObject("/Title")] = TextStringObject("Another title")
        writer.update_container(writer.trailer["/Info"])

    return updated(pdf, change)


def add_proofs(pdf: bytes) -> bytes:
    """Add an empty store of proofs: what any signature lets follow it, and nobody signed."""

    def change(writer: Any) -> None:
        proofs = DictionaryObject({NameObject("/Type"): NameObject("/DSS")})  # type: ignore[no-untyped-call]
        writer.root[NameObject("/DSS")] = writer.add_object(proofs)
        writer.update_root()

    return updated(pdf, change)


def attach_more(pdf: bytes) -> bytes:
    return attach(pdf, name="more.json", content=b"{}")


UPDATES: list[tuple[Tamper, tuple[str, ...]]] = [
    (lambda pdf: pdf + b"\n", (ADDED,)),
    (lambda pdf: pdf + b"x" * 1000, (ADDED,)),
    (swap_first_page_text, (CHANGED, ADDED)),
    (attach_more, (CHANGED, ADDED)),
    (change_info, (ADDED,)),
    (add_proofs, (ADDED,)),
]


@pytest.mark.parametrize(
    ("tamper", "said"), UPDATES, ids=["a byte", "bytes", "page", "attachment", "information", "proofs"]
)
@pytest.mark.parametrize("stage", ["certified", "countersigned"])
def test_what_is_added_after_the_end_is_seen(
    package: Signed, stage: str, tamper: Tamper, said: tuple[str, ...]
) -> None:
    problems = check(tamper(getattr(package, stage)), signed=package).problems
    assert set(said) <= set(problems)


@pytest.mark.parametrize("tamper", [swap_first_page_text, attach_more], ids=["page", "attachment"])
@pytest.mark.parametrize("stage", ["certified", "countersigned"])
def test_a_time_stamp_over_a_changed_document_hides_nothing(package: Signed, stage: str, tamper: Tamper) -> None:
    covered = time_stamped(tamper(getattr(package, stage)), package.authority)
    problems = check(covered, signed=package).problems
    assert CHANGED in problems
    assert ADDED not in problems


def test_of_hundreds_of_bits_flipped_none_goes_unseen(package: Signed) -> None:
    pdf = package.countersigned
    last_gap = signed_gaps(pdf)[-1]
    covered = [*range(last_gap.start), *range(last_gap.stop, len(pdf))]
    chosen = random.Random(4711)
    for position in chosen.sample(covered, 150):
        assert not check(flip_bit(pdf, position=position, bit=chosen.randrange(8)), signed=package).is_sound, position


def test_bits_flipped_inside_any_signature_but_the_last_are_seen(package: Signed) -> None:
    pdf = package.countersigned
    chosen = random.Random(1)
    for gap in signed_gaps(pdf)[:-1]:
        for position in chosen.sample(range(gap.start + 1, gap.stop - 1), 15):
            assert not check(flip_bit(pdf, position=position, bit=chosen.randrange(7)), signed=package).is_sound, (
                position
            )


def test_nothing_hides_behind_the_end_of_any_signature(package: Signed) -> None:
    for pdf in (package.certified, package.countersigned):
        gap = signed_gaps(pdf)[-1]
        # The last hexadecimal digit before ">": padding after the signature, covered by no digest.
        [problem] = check(flip_bit(pdf, position=gap.stop - 2, bit=0), signed=package).problems
        assert "leaves room in the file for bytes that nobody signed" in problem


def test_a_package_is_not_good_before_its_certificates_are(package: Signed) -> None:
    before = package.key.certificate.not_valid_before_utc - timedelta(days=1)
    assert not verify(package.countersigned, trust=RoleTrust(service=package.trust), now=before).is_sound


def put_signature(pdf: bytes, contents: bytes, *, number: int) -> bytes:
    """Put another signature into the place of one, as long as before."""
    gap = signed_gaps(pdf)[number]
    room = gap.stop - gap.start - 2
    text = contents.hex().upper().encode()
    assert len(text) <= room
    return pdf[: gap.start + 1] + text.ljust(room, b"0") + pdf[gap.stop - 1 :]


def contents_of(pdf: bytes, *, number: int) -> bytes:
    contents = bytes(PdfFileReader(BytesIO(pdf)).embedded_signatures[number].pkcs7_content)
    length = len(cms.ContentInfo.load(contents).dump())
    return contents[:length]


def test_another_packages_seal_does_not_fit_this_one(package: Signed, signed: Signed, tmp_path: Path) -> None:
    level = verify(package.certified, trust=RoleTrust(service=package.trust), now=NOW).level
    assert level is not None
    another = make_signed(tmp_path, level=level)
    transplanted = put_signature(package.certified, contents_of(another.certified, number=0), number=0)
    trust = [*package.trust, *another.trust]
    assert BROKEN in verify(transplanted, trust=RoleTrust(service=trust), now=NOW).problems


def test_a_signature_keeps_its_meaning_where_it_was_put_back(package: Signed) -> None:
    again = put_signature(package.certified, contents_of(package.certified, number=0), number=0)
    assert check(again, signed=package).is_sound


def with_stamps_of(own: bytes, other: bytes | None) -> bytes:
    """Return a signature with the time stamps of another instead of its own, or with none."""
    content = cms.ContentInfo.load(own)
    [signer] = content["content"]["signer_infos"]
    names = ("version", "sid", "digest_algorithm", "signed_attrs", "signature_algorithm", "signature")
    rebuilt = {name: signer[name] for name in names}
    if other is not None:
        [of_other] = cms.ContentInfo.load(other)["content"]["signer_infos"]
        rebuilt["unsigned_attrs"] = of_other["unsigned_attrs"]
    content["content"]["signer_infos"] = [cms.SignerInfo(rebuilt)]
    return bytes(content.dump())


def test_the_time_stamp_of_another_signature_does_not_fit_this_one(signed: Signed) -> None:
    pdf = sign_document(signed.authority, level=SignatureLevel.B_T).countersigned
    forged = with_stamps_of(contents_of(pdf, number=1), contents_of(pdf, number=0))
    report = check(put_signature(pdf, forged, number=1), signed=signed)
    assert report.problems == (
        "The signature of the service's seal over the decision: its time stamp is broken: it was made for something "
        "else, or changed.",
    )
    assert report.signatures[1].baseline is SignatureLevel.B_B
    assert report.signatures[1].proven_at is None


def test_a_time_stamp_taken_out_of_a_signature_lowers_its_level(signed: Signed) -> None:
    pdf = sign_document(signed.authority, level=SignatureLevel.B_T).countersigned
    bare = with_stamps_of(contents_of(pdf, number=1), None)
    report = check(put_signature(pdf, bare, number=1), signed=signed)
    assert report.problems == ()
    assert [one.baseline for one in report.signatures] == [SignatureLevel.B_T, SignatureLevel.B_B]
    assert report.level is SignatureLevel.B_B
