"""Documents to sign, and keys to sign them with, for the tests of signatures."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

from pyhanko.pdf_utils.embed import EmbeddedFileObject, FileSpec, embed_file
from pyhanko.pdf_utils.generic import NameObject, StreamObject
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.signers import PdfTimeStamper
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from service.vocabulary.signatures import SignatureLevel, SignaturePlace
from tests.signing_people import Signatory
from worker.demo.authority.throwaway import DemonstrationAuthority, make_demonstration_authority
from worker.demo.authority.time_stamp import state_time
from worker.signing.check.uploaded import Expected
from worker.signing.fields import DECISION_FIELD, ENGINEER_FIELD
from worker.signing.keys.signing_key import SigningKey, load_signing_key
from worker.signing.make.certify import certify
from worker.signing.make.countersign import countersign
from worker.signing.make.sealing import ALONE, Authorities, Sealing
from worker.signing.make.timestamps import CheckedTimeStamper
from worker.signing.updates.explain import unexplained

FONT_FILE = Path("worker/package/fonts/DejaVuSans.ttf").resolve()
NOW = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
ELAPSED = timedelta(hours=3)
CERTIFIED_AT = NOW - ELAPSED
BOXES = {
    SignaturePlace.CONTRACTOR: (50, 60, 250, 120),
    SignaturePlace.DECISION: (50, 200, 520, 400),
    SignaturePlace.ENGINEER: (300, 60, 520, 120),
}
FINDINGS = b'{"findings":[{"loss_db":"0.07"}]}'
FIRST_PAGE_TEXT = "Joint 7, fibre 3: 0.07 dB"
STAMP_LINES = ("Accepted by R. Ostrander", "2026-05-04 12:00 UTC")


@dataclass(frozen=True, kw_only=True)
class Signed:
    """One document at each stage, and the authority behind its signatures."""

    authority: DemonstrationAuthority
    key: SigningKey
    unsigned: bytes
    certified: bytes
    countersigned: bytes

    @property
    def trust(self) -> list[bytes]:
        """Return what a receiver was given to trust."""
        return [self.authority.root_file.read_bytes()]


def make_signed(folder: Path, *, now: datetime = NOW, level: SignatureLevel = SignatureLevel.B_B) -> Signed:
    """Make an authority, and a document certified and countersigned with its key at a level."""
    authority = make_demonstration_authority(folder, now=now - ELAPSED)
    return sign_document(authority, now=now, level=level)


def sign_document(authority: DemonstrationAuthority, *, now: datetime = NOW, level: SignatureLevel) -> Signed:
    """Certify and countersign the tests' document with an authority's key at a level."""
    key = load_signing_key(pkcs12_file=authority.pkcs12_file, passphrase_file=authority.passphrase_file, now=now)
    unsigned = make_document()
    first, second = (make_sealing(authority, level=level, now=moment) for moment in (now - ELAPSED, now))
    certified = certify_document(unsigned, key=key, signed_at=now - ELAPSED, sealing=first)
    return Signed(
        authority=authority,
        key=key,
        unsigned=unsigned,
        certified=certified,
        countersigned=countersign_document(certified, key=key, signed_at=now, sealing=second),
    )


def make_sealing(authority: DemonstrationAuthority, *, level: SignatureLevel, now: datetime) -> Sealing:
    """Return how to seal at a level with an authority's own time and revocation list."""
    return Sealing(level=level, authorities=make_authorities(authority, now=now))


def make_authorities(authority: DemonstrationAuthority, *, now: datetime) -> Authorities:
    """Ask the authority in this process: its clock stands a second after ours, its list was made an hour ago."""

    def ask_time(request: bytes) -> bytes:
        return state_time(
            request,
            certificate=authority.time_certificate,
            key=authority.time_key,
            now=now + timedelta(seconds=1),
        )

    def fetch(_: str, __: bytes | None) -> bytes:
        return authority.revocation_list(now=now - timedelta(hours=1))

    return Authorities(ask_time=ask_time, fetch=fetch, trust=(authority.root,))


def certify_document(
    pdf: bytes, *, key: SigningKey, signed_at: datetime = CERTIFIED_AT, sealing: Sealing = ALONE
) -> bytes:
    """Certify with the reason and boxes of the tests."""
    return certify(pdf, key=key, signed_at=signed_at, reason="Package issued", boxes=BOXES, sealing=sealing).pdf


def countersign_document(pdf: bytes, *, key: SigningKey, signed_at: datetime = NOW, sealing: Sealing = ALONE) -> bytes:
    """Seal a decision."""
    return countersign(
        pdf,
        key=key,
        signed_at=signed_at,
        reason="Package accepted",
        field=DECISION_FIELD,
        stamps=[STAMP_LINES],
        font_file=FONT_FILE,
        sealing=sealing,
    ).pdf


def make_document() -> bytes:
    """Draw two pages of text with an embedded font, and attach the findings."""
    pdfmetrics.registerFont(TTFont("DocumentFont", str(FONT_FILE)))
    buffer = BytesIO()
    canvas = Canvas(buffer, invariant=1, initialFontName="DocumentFont")
    for text in (FIRST_PAGE_TEXT, "Joint 8, fibre 3: 0.11 dB"):
        canvas.setFont("DocumentFont", 12)
        canvas.drawString(72, 720, text)
        canvas.showPage()
    canvas.save()
    return attach(buffer.getvalue(), name="findings.json", content=FINDINGS)


def updated(pdf: bytes, change: Callable[[Any], None]) -> bytes:
    """Return a document with one update more, neither dated nor signed by the library that writes it."""
    writer: Any = IncrementalPdfFileWriter(BytesIO(pdf))
    writer._update_meta = lambda: None
    change(writer)
    return written(writer)


def time_stamped(pdf: bytes, authority: DemonstrationAuthority, *, now: datetime = NOW) -> bytes:
    """Put a good time stamp over everything, as anybody can who may ask the authority."""
    return time_stamped_by(IncrementalPdfFileWriter(BytesIO(pdf)), authority, now=now)


def time_stamped_by(
    writer: IncrementalPdfFileWriter, authority: DemonstrationAuthority, *, now: datetime = NOW
) -> bytes:
    """Put a good time stamp over what a writer is about to write."""
    stamper = CheckedTimeStamper(make_authorities(authority, now=now).ask_time)
    output: BytesIO = PdfTimeStamper(stamper).timestamp_pdf(writer, "sha256")
    return output.getvalue()


def expect(package: Signed, *signers: Signatory, **changes: Any) -> Expected:
    """Expect the engineer's signature on a decided package by these people's certificates, made within an hour."""
    now = datetime.now(UTC)
    expected = Expected(
        current=package.countersigned,
        field=ENGINEER_FIELD,
        fingerprints=[one.fingerprint for one in signers],
        signed_before=[],
        level=SignatureLevel.B_B,
        earliest=now - timedelta(hours=1),
        latest=now + timedelta(hours=1),
    )
    return replace(expected, **changes)


def unexplained_in(pdf: bytes) -> list[str]:
    """Return what is said of the updates after the seal alone."""
    reader = PdfFileReader(BytesIO(pdf))
    return [*unexplained(pdf, reader, certified=reader.embedded_signatures[0].signed_revision)]


def attach(pdf: bytes, *, name: str, content: bytes) -> bytes:
    """Add an attachment as an incremental update."""
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    file = EmbeddedFileObject.from_file_data(writer, content, mime_type="application/json")
    embed_file(writer, FileSpec(file_spec_string=name, file_name=name, embedded_data=file))
    return written(writer)


def swap_first_page_text(pdf: bytes) -> bytes:
    """Replace what the first page shows through an incremental update, which leaves every signed byte as it is."""
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    page_reference, _ = writer.find_page_for_modification(0)  # type: ignore[no-untyped-call]
    page = page_reference.get_object()
    forged = StreamObject(stream_data=b"BT /F1 12 Tf 72 720 Td (Joint 7, fibre 3: 0.02 dB) Tj ET")
    page[NameObject("/Contents")] = writer.add_object(forged)
    writer.update_container(page)
    return written(writer)


def written(writer: IncrementalPdfFileWriter) -> bytes:
    """Write an update."""
    output = BytesIO()
    writer.write(output)  # type: ignore[no-untyped-call]
    return output.getvalue()


def signed_gaps(pdf: bytes) -> list[range]:
    """Return, in signing order, the byte positions that hold each signature and are not covered by it."""
    signatures = PdfFileReader(BytesIO(pdf)).embedded_signatures
    return [range(int(s.byte_range[1]), int(s.byte_range[2])) for s in signatures]


def flip_bit(pdf: bytes, *, position: int, bit: int) -> bytes:
    """Return the document with one bit changed."""
    changed = bytearray(pdf)
    changed[position] ^= 1 << bit
    return bytes(changed)
