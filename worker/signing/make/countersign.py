"""The service's seal over a recorded decision, or a person's own signature, in a field that the package reserved."""

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from io import BytesIO
from pathlib import Path

from pyhanko.pdf_utils.layout import AxisAlignment, Margins, SimpleBoxLayoutRule
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import SigSeedSubFilter, enumerate_sig_fields
from pyhanko.sign.signers import PdfSignatureMetadata
from pyhanko.stamp import StaticStampStyle

from worker.signing.check.verify import verify
from worker.signing.errors import DocumentUnsignableError, OwnSignatureError
from worker.signing.fields import CONTRACTOR_FIELD, ENGINEER_FIELD, FIELD_TITLES
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.pdf_signer import add_signature
from worker.signing.make.sealing import ALONE, Sealing
from worker.signing.make.stamp import StampLine, draw_stamp
from worker.signing.report import PackageReport, Signed
from worker.signing.trust.role_trust import NOBODY, RoleTrust


def countersign(
    pdf: bytes,
    *,
    key: SigningKey,
    signed_at: datetime,
    reason: str,
    stamp_lines: Sequence[StampLine],
    font_file: Path,
    shorter: Sequence[Sequence[StampLine]] = (),
    field: str,
    trust: RoleTrust = NOBODY,
    sealing: Sealing = ALONE,
) -> Signed:
    """Sign a reserved field of a good package with a visible stamp, and read the result back.

    Where the stamp's lines do not fit, the first of `shorter` that does is shown. `trust` is whom to trust for the
    signatures and time stamps already there, where they are others than this key's authorities and the ones that
    `sealing` asks.
    """
    trusted = _with_own(trust, key=key, field=field, sealing=sealing)
    before = verify(pdf, trust=trusted, now=signed_at)
    if not before.is_sound:
        raise DocumentUnsignableError(f"Only a good package is countersigned: {' '.join(before.problems)}")
    width_pt, height_pt = _reserved_size_pt(pdf, field=field)
    metadata = PdfSignatureMetadata(
        field_name=field, subfilter=SigSeedSubFilter.PADES, md_algorithm="sha256", reason=reason
    )
    # The signing library imports a stamp by file name only.
    with tempfile.NamedTemporaryFile(suffix=".pdf") as stamp_file:
        stamp_file.write(
            draw_stamp(stamp_lines, width_pt=width_pt, height_pt=height_pt, font_file=font_file, shorter=shorter)
        )
        stamp_file.flush()
        signed = add_signature(
            pdf,
            metadata=metadata,
            key=key,
            signed_at=signed_at,
            stamp=_stamp_style(stamp_file.name),
            sealing=sealing,
            trust=trusted.everybody,
        )
    report = verify(signed, trust=trusted, now=signed_at)
    problems = [*report.problems, *sealing.shortfalls(report), *_misplacements(signed, report, before=pdf, field=field)]
    if problems:
        raise OwnSignatureError(problems)
    return Signed(signed, report)


def fields_of(pdf: bytes) -> Mapping[str, bool]:
    """Return the signature fields of a document of ours, and of each whether it is still empty."""
    return {name: value is None for name, value, _ in enumerate_sig_fields(PdfFileReader(BytesIO(pdf)))}


def _with_own(trust: RoleTrust, *, key: SigningKey, field: str, sealing: Sealing) -> RoleTrust:
    """Return whom a reader trusts who knows this key as well: in its own place, and as the service's."""
    return RoleTrust(
        service=[*key.anchors, *trust.service],
        contractor=[*trust.contractor, *(key.anchors if field == CONTRACTOR_FIELD else ())],
        engineer=[*trust.engineer, *(key.anchors if field == ENGINEER_FIELD else ())],
        time=[*sealing.time_trust, *(trust.time or ())] or None,
    )


def _reserved_size_pt(pdf: bytes, *, field: str) -> tuple[float, float]:
    for name, value, reference in enumerate_sig_fields(PdfFileReader(BytesIO(pdf))):
        if name == field and value is None:
            left, bottom, right, top = (float(edge) for edge in reference.get_object()["/Rect"])
            return right - left, top - bottom
    raise DocumentUnsignableError(f"No empty place for {FIELD_TITLES.get(field, field)}: it is missing or signed.")


def _stamp_style(stamp_file: str) -> StaticStampStyle:
    filled = SimpleBoxLayoutRule(x_align=AxisAlignment.ALIGN_MIN, y_align=AxisAlignment.ALIGN_MIN, margins=Margins())
    return StaticStampStyle.from_pdf_file(stamp_file, border_width=0, background_layout=filled)


def _misplacements(signed: bytes, report: PackageReport, *, before: bytes, field: str) -> Iterator[str]:
    if not signed.startswith(before):
        yield "The countersignature changed what was signed before."
    if not report.signatures or report.signatures[-1].field != field:
        yield f"The last signature is not the one of {FIELD_TITLES.get(field, field)}."
