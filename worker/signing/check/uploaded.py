"""Check a file that a person signed with a key of their own: the package as it was, and that one signature more."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from io import BytesIO

from cryptography import x509
from pyhanko.pdf_utils.reader import PdfFileReader

from service.vocabulary.signatures import SignatureLevel
from worker.signing.check.parsing import UNREADABLE
from worker.signing.check.verify import verify
from worker.signing.fields import PEOPLE, title_of
from worker.signing.report import PackageReport, SignatureReport
from worker.signing.trust.certificates import Trusted, certificate_sha256, from_asn1
from worker.signing.trust.role_trust import RoleTrust

_LONGEST_PROBLEM = 1000


# One when signing at PAdES B-LTA, and one that renews it.
MOST_TIME_STAMPS = 2


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What may come back: the file that was to be signed, in which place, by which certificates, and between when.

    `signed_before` are the fingerprints of the people whose own signatures are in the file already, `level` is what the
    signature has to reach: at PAdES B-T with the service's time stamp, where one follows.
    """

    current: bytes
    field: str
    fingerprints: Collection[str]
    signed_before: Collection[str]
    level: SignatureLevel
    is_stamped_after: bool = False
    earliest: datetime
    latest: datetime


@dataclass(frozen=True, kw_only=True)
class UploadReport:
    """The signature that was added, the level of all of them, and what is wrong with the file in sentences.

    `is_stamped`: whoever signed had the document stamped with the time as well.
    """

    signature: SignatureReport | None = None
    level: SignatureLevel | None = None
    is_stamped: bool = False
    problems: tuple[str, ...] = ()


def check_uploaded(
    pdf: bytes,
    *,
    expected: Expected,
    trust: Sequence[Trusted],
    now: datetime,
    time_trust: Sequence[Trusted] | None = None,
) -> UploadReport:
    """Find everything that is wrong with a signed file; whatever the bytes are, answer with a report."""
    if not pdf.startswith(expected.current):
        return _refused(
            "The file does not begin with the package's current file, byte for byte: "
            "sign that file with a tool that adds to it instead of writing it anew."
        )
    try:
        # Before anything else: each signature takes its time, and a file may be made of thousands.
        (signatures, stamps), (signed, stamped) = _count(pdf), _count(expected.current)
        if signatures - signed != 1:
            return _refused(f"One signature was to be added to the package's current file, {signatures - signed} were.")
        if stamps - stamped > MOST_TIME_STAMPS:
            return _refused(f"At most {MOST_TIME_STAMPS} time stamps may follow the signature, {stamps - stamped} do.")
        trusted = _trusted(pdf, expected, service=trust, time=time_trust)
    except UNREADABLE as error:
        return _refused(f"What was added to the package cannot be read ({error}).")
    report = verify(pdf, trust=trusted, now=now)
    if not report.signatures:
        return _refused(*report.problems)
    signature = report.signatures[-1]
    found = _refused(*_signature_problems(signature, report, expected), *report.problems)
    return replace(found, signature=signature, level=report.level, is_stamped=stamps > stamped)


def _refused(*problems: str) -> UploadReport:
    return UploadReport(problems=tuple(map(_printable, problems)))


def pinned_signers(pdf: bytes, fingerprints: Collection[str]) -> list[x509.Certificate]:
    """Return the certificates in a file that signed it and have one of these fingerprints."""
    signatures = PdfFileReader(BytesIO(pdf)).embedded_regular_signatures
    certificates = [from_asn1(signature.signer_cert) for signature in signatures]
    return [one for one in certificates if certificate_sha256(one) in fingerprints]


def _trusted(
    pdf: bytes, expected: Expected, *, service: Sequence[Trusted], time: Sequence[Trusted] | None
) -> RoleTrust:
    """Trust each person's certificates in that person's place: whoever signed before did so in the other one."""
    [other] = {*PEOPLE} - {expected.field}
    known = RoleTrust(service=service, time=time)
    known = known.and_in(expected.field, pinned_signers(pdf, expected.fingerprints))
    return known.and_in(other, pinned_signers(pdf, expected.signed_before))


def _count(pdf: bytes) -> tuple[int, int]:
    """Return how many signatures a file has, and how many time stamps over the document."""
    reader = PdfFileReader(BytesIO(pdf))
    return len(reader.embedded_regular_signatures), len(reader.embedded_timestamp_signatures)


def _signature_problems(signature: SignatureReport, report: PackageReport, expected: Expected) -> Iterator[str]:
    if signature.field != expected.field:
        yield f"The signature is in the place of {title_of(signature.field)}, not of {title_of(expected.field)}."
    if signature.certificate_sha256 not in expected.fingerprints:
        yield (
            f"The certificate that signed, SHA-256 {signature.certificate_sha256}, is not registered for the person "
            "who has to sign, or was retired."
        )
    if signature.baseline is None:
        yield "The signature is not PAdES (ETSI EN 319 142-1): choose that format in the tool that signs."
    elif not _with_stamp(signature.baseline, expected).reaches(expected.level):
        yield (
            f"The criteria ask for signatures at {expected.level.label} or above, and this one reaches "
            f"{signature.baseline.label}: set the time-stamp authority in the tool that signs."
        )
    if signature.is_demonstration and not report.signatures[0].is_demonstration:
        yield "A demonstration certificate signs demonstrations only."
    yield from _time_problems(signature.signed_at, expected)


def _with_stamp(reached: SignatureLevel, expected: Expected) -> SignatureLevel:
    """Return what a signature reaches once the service has stamped the document, where it does."""
    return SignatureLevel.B_T if expected.is_stamped_after and not reached.reaches(SignatureLevel.B_T) else reached


def _time_problems(signed_at: datetime | None, expected: Expected) -> Iterator[str]:
    if signed_at is None or signed_at.tzinfo is None:
        yield "The signature does not say when it was made, with its time zone."
    elif signed_at < expected.earliest:
        yield "The signature says that it was made before the package was issued: look at the clock."
    elif signed_at > expected.latest:
        yield "The signature says that it was made in the future: look at the clock."


def _printable(problem: str) -> str:
    # Names of fields come from the file: they may hold what no database takes, and be of any length.
    return "".join(c if c.isprintable() else "\ufffd" for c in problem[:_LONGEST_PROBLEM])
