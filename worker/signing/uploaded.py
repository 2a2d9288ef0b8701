"""Check a file that a person signed with a key of their own: the package as it was, and that one signature more."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO

from pyhanko.pdf_utils.reader import PdfFileReader

from worker.signing.certificates import Trusted
from worker.signing.fields import FIELD_TITLES
from worker.signing.levels import Level
from worker.signing.parsing import UNREADABLE
from worker.signing.pinning import pinned_signers
from worker.signing.report import PackageReport, SignatureReport
from worker.signing.verify import verify


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What may come back: the file that was to be signed, in which place, by which certificates, and between when.

    `signed_before` are the fingerprints of the people whose own signatures are in the file already, `level` is what the
    signature has to reach.
    """

    current: bytes
    field: str
    fingerprints: Collection[str]
    signed_before: Collection[str]
    level: Level
    earliest: datetime
    latest: datetime


@dataclass(frozen=True, kw_only=True)
class UploadReport:
    """The signature that was added, the level of all of them, and what is wrong with the file in sentences."""

    signature: SignatureReport | None = None
    level: Level | None = None
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
        problem = (
            "The file does not begin with the package's current file, byte for byte: "
            "sign that file with a tool that adds to it instead of writing it anew."
        )
        return UploadReport(problems=(problem,))
    try:
        people = pinned_signers(pdf, {*expected.fingerprints, *expected.signed_before})
        before = len(PdfFileReader(BytesIO(expected.current)).embedded_regular_signatures)
    except UNREADABLE as error:
        return UploadReport(problems=(f"What was added to the package can not be read ({error}).",))
    report = verify(pdf, trust=[*trust, *people], now=now, time_trust=time_trust)
    added = report.signatures[before:]
    if len(added) != 1:
        problem = f"One signature was to be added to the package's current file, {len(added)} were."
        return UploadReport(problems=(problem, *report.problems))
    problems = (*_signature_problems(added[0], report, expected), *report.problems)
    return UploadReport(signature=added[0], level=report.level, problems=problems)


def _signature_problems(signature: SignatureReport, report: PackageReport, expected: Expected) -> Iterator[str]:
    if signature.field != expected.field:
        yield f"The signature is in the place of {_whose(signature.field)}, not of {_whose(expected.field)}."
    if signature.certificate_sha256 not in expected.fingerprints:
        yield (
            f"The certificate that signed, SHA-256 {signature.certificate_sha256}, is not registered for the person "
            "who has to sign, or was retired."
        )
    if signature.baseline is None:
        yield "The signature is not PAdES (ETSI EN 319 142-1): choose that format in the tool that signs."
    elif not signature.baseline.reaches(expected.level):
        yield (
            f"The criteria ask for signatures at {expected.level.label} or above, and this one reaches "
            f"{signature.baseline.label}: set the time-stamp authority in the tool that signs."
        )
    if signature.is_demonstration and not report.signatures[0].is_demonstration:
        yield "A demonstration certificate signs demonstrations only."
    yield from _time_problems(signature.signed_at, expected)


def _time_problems(signed_at: datetime | None, expected: Expected) -> Iterator[str]:
    if signed_at is None or signed_at.tzinfo is None:
        yield "The signature does not say when it was made, with its time zone."
    elif signed_at < expected.earliest:
        yield "The signature says that it was made before the package was issued: look at the clock."
    elif signed_at > expected.latest:
        yield "The signature says that it was made in the future: look at the clock."


def _whose(field: str) -> str:
    return FIELD_TITLES.get(field, field)
