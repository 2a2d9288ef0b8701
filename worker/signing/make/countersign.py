"""The service's seal over a recorded decision, or a person's own signature, in a field that the package reserved."""

import tempfile
from collections.abc import Mapping, Sequence
from datetime import datetime
from io import BytesIO
from pathlib import Path

from pyhanko.pdf_utils.layout import AxisAlignment, Margins, SimpleBoxLayoutRule
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import enumerate_sig_fields
from pyhanko.stamp import StaticStampStyle

from worker.signing.check.verify import verify
from worker.signing.errors import DocumentUnsignableError
from worker.signing.fields import title_of
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.pdf_signer import add_signature, trusting_own
from worker.signing.make.sealing import ALONE, Sealing
from worker.signing.make.stamp import StampLine, draw_stamp
from worker.signing.report import Signed
from worker.signing.trust.role_trust import NOBODY, RoleTrust


def countersign(
    pdf: bytes,
    *,
    key: SigningKey,
    signed_at: datetime,
    reason: str,
    stamps: Sequence[Sequence[StampLine]],
    font_file: Path,
    field: str,
    trust: RoleTrust = NOBODY,
    sealing: Sealing = ALONE,
) -> Signed:
    """Sign a reserved field of a good package with a visible stamp, and read the result back.

    Of the stamp's versions the first that fits is shown. `trust` is whom to trust for the signatures and time stamps
    already there, where they are others than this key's authorities and the ones that `sealing` asks.
    """
    # Whoever signs covers all that is there: a forgery that is in the file already would be covered as well.
    before = verify(pdf, trust=trusting_own(trust, key=key, field=field, sealing=sealing), now=signed_at)
    if not before.is_sound:
        raise DocumentUnsignableError(f"Only a good package is countersigned: {' '.join(before.problems)}")
    width_pt, height_pt = _reserved_size_pt(pdf, field=field)
    # The signing library imports a stamp by file name only.
    with tempfile.NamedTemporaryFile(suffix=".pdf") as stamp_file:
        stamp_file.write(draw_stamp(stamps, width_pt=width_pt, height_pt=height_pt, font_file=font_file))
        stamp_file.flush()
        return add_signature(
            pdf,
            field=field,
            key=key,
            signed_at=signed_at,
            reason=reason,
            stamp=_stamp_style(stamp_file.name),
            sealing=sealing,
            trust=trust,
        )


def fields_of(pdf: bytes) -> Mapping[str, bool]:
    """Return the signature fields of a document of ours, and of each whether it is still empty."""
    return {name: value is None for name, value, _ in enumerate_sig_fields(PdfFileReader(BytesIO(pdf)))}


def _reserved_size_pt(pdf: bytes, *, field: str) -> tuple[float, float]:
    for name, value, reference in enumerate_sig_fields(PdfFileReader(BytesIO(pdf))):
        if name == field and value is None:
            left, bottom, right, top = (float(edge) for edge in reference.get_object()["/Rect"])
            return right - left, top - bottom
    raise DocumentUnsignableError(f"No empty place for {title_of(field)}: it is missing or signed.")


def _stamp_style(stamp_file: str) -> StaticStampStyle:
    filled = SimpleBoxLayoutRule(x_align=AxisAlignment.ALIGN_MIN, y_align=AxisAlignment.ALIGN_MIN, margins=Margins())
    return StaticStampStyle.from_pdf_file(stamp_file, border_width=0, background_layout=filled)
