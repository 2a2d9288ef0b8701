"""The room of a signature holds one encoding of it and nothing else: no digit there can change unseen."""

import random
from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO

import pytest
from asn1crypto import cms, core, x509
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.reader import PdfFileReader

from service.vocabulary.signatures import SignatureLevel
from tests.signed_documents import NOW, Signed, sign_document, signed_gaps
from tests.signing_people import make_signatory
from worker.signing.check.cms import is_der
from worker.signing.check.verify import verify
from worker.signing.trust.role_trust import RoleTrust

pytestmark = pytest.mark.slow
DIGITS = b"0123456789abcdefABCDEF"


@dataclass(frozen=True, kw_only=True)
class Room:
    """A certified file, whose only signature no other covers, and the digits of it."""

    pdf: bytes
    trust: RoleTrust

    @property
    def gap(self) -> range:
        return signed_gaps(self.pdf)[-1]

    @property
    def digits(self) -> bytes:
        return self.pdf[self.gap.start + 1 : self.gap.stop - 1]

    @property
    def signature(self) -> cms.ContentInfo:
        [one] = PdfFileReader(BytesIO(self.pdf)).embedded_signatures
        return cms.ContentInfo.load(bytes(one.pkcs7_content))

    def with_digits(self, digits: bytes) -> bytes:
        assert len(digits) == len(self.digits)
        return self.pdf[: self.gap.start + 1] + digits + self.pdf[self.gap.stop - 1 :]

    def problems(self, digits: bytes) -> tuple[str, ...]:
        return verify(self.with_digits(digits), trust=self.trust, now=NOW).problems

    def problems_of(self, signature: cms.ContentInfo | bytes) -> tuple[str, ...]:
        content = signature if isinstance(signature, bytes) else bytes(signature.dump())
        return self.problems(content.hex().encode().ljust(len(self.digits), b"0"))


@pytest.fixture(scope="module", params=[SignatureLevel.B_B, SignatureLevel.B_T], ids=str)
def room(request: pytest.FixtureRequest, signed: Signed) -> Room:
    made = sign_document(signed.authority, level=request.param)
    return Room(pdf=made.certified, trust=RoleTrust(service=made.trust))


def test_in_either_case_of_letters_it_is_the_same_signature_and_mixed_it_is_none(room: Room) -> None:
    assert room.problems(room.digits.lower()) == ()
    assert room.problems(room.digits.upper()) == ()
    assert room.problems_of(room.signature) == ()
    letters = [number for number, digit in enumerate(room.digits) if chr(digit).isalpha()]
    for number in (letters[0], letters[len(letters) // 2], letters[-1]):
        mixed = room.digits[:number] + room.digits[number : number + 1].swapcase() + room.digits[number + 1 :]
        assert any("leaves room" in one for one in room.problems(mixed))


@pytest.mark.parametrize("hidden", [b"01", b"ff", b" 0", b"0 "])
def test_nothing_fills_the_room_up_but_zeros(room: Room, hidden: bytes) -> None:
    for end in (len(room.digits), len(room.digits) - 100):
        assert room.problems(room.digits[: end - 2] + hidden + room.digits[end:]) != ()


def test_of_digits_changed_at_random_none_goes_unseen(room: Room) -> None:
    chosen, used = random.Random(20261130), len(room.digits.rstrip(b"0"))
    for _ in range(25):
        number = chosen.randrange(used + 10)
        digit = chosen.choice(DIGITS.replace(room.digits[number : number + 1], b""))
        changed = room.digits[:number] + bytes([digit]) + room.digits[number + 1 :]
        assert room.problems(changed) != (), (number, digit)


def _note(signature: cms.ContentInfo) -> None:
    [signer] = signature["content"]["signer_infos"]
    note = cms.CMSAttribute({"type": cms.CMSAttributeType("1.3.6.1.4.1.99999.1"), "values": [core.UTF8String("kept")]})
    added = [] if isinstance(signer["unsigned_attrs"], core.Void) else [*signer["unsigned_attrs"]]
    signer["unsigned_attrs"] = cms.CMSAttributes([*added, note])


def _certificate(signature: cms.ContentInfo) -> None:
    other = make_signatory("Somebody else").certificate.public_bytes(Encoding.DER)
    certificates = [*signature["content"]["certificates"]]
    certificates.append(cms.CertificateChoices(name="certificate", value=x509.Certificate.load(other)))
    signature["content"]["certificates"] = cms.CertificateSet(certificates)


def _version(signature: cms.ContentInfo) -> None:
    signature["content"]["version"] = "v4"


def _digest(signature: cms.ContentInfo) -> None:
    signature["content"]["digest_algorithms"] = [{"algorithm": "sha512"}]


def _two_digests(signature: cms.ContentInfo) -> None:
    signature["content"]["digest_algorithms"] = [{"algorithm": "sha256"}, {"algorithm": "sha512"}]


def _content(signature: cms.ContentInfo) -> None:
    signature["content"]["encap_content_info"] = {"content_type": "data", "content": b"kept"}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (_note, "carries attributes that nobody signed"),
        (_certificate, "brings certificates along that do not lead up from its own"),
        (_version, "states another version than what it holds"),
        (_digest, "names digests that it does not use"),
        (_two_digests, "names digests that it does not use"),
        (_content, ""),
    ],
)
def test_what_no_signature_covers_has_to_be_what_it_must_be(
    room: Room, change: Callable[[cms.ContentInfo], None], said: str
) -> None:
    signature = room.signature
    change(signature)
    assert any(said in one for one in room.problems_of(signature))


def test_another_encoding_of_the_same_is_not_the_signature(room: Room) -> None:
    content = bytes(room.signature.dump())
    # X.690, 8.1.3.6 (from memory): a length that is not stated, which the basic encoding allows and this one not.
    body = content[4:]
    assert content[:2] == b"0\x82"
    endless = b"0\x80" + body + b"\0\0"
    longer = b"0\x83\0" + content[2:]
    for other in (endless, longer):
        assert room.problems_of(other) != ()


@pytest.mark.parametrize(
    ("content", "is_one"),
    [
        (bytes.fromhex("3003020101"), True),
        (bytes.fromhex("308103020101"), False),
        (bytes.fromhex("30800201010000"), False),
        (bytes.fromhex("300402020001"), False),
        (bytes.fromhex("30040202ff80"), False),
        (bytes.fromhex("300402020080"), True),
        (bytes.fromhex("3003010101"), False),
        (bytes.fromhex("30030101ff"), True),
        (bytes.fromhex("3106020101020102"), True),
        (bytes.fromhex("3106020102020101"), False),
        (bytes.fromhex("30030201"), False),
    ],
)
def test_the_distinguished_encoding_is_told_from_others(content: bytes, is_one: bool) -> None:
    assert is_der(content) is is_one
