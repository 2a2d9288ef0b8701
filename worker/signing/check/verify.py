"""Judge a package as a receiver would, from its bytes alone."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import datetime
from hashlib import sha256
from io import BytesIO
from itertools import takewhile
from typing import Any

import orjson
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import MDPPerm, enumerate_sig_fields
from pyhanko.sign.validation import EmbeddedPdfSignature, read_certification_data

from service.vocabulary.signatures import SignaturePlace
from worker.signing.check.parsing import UNREADABLE, attachment_digests, attachment_of, stated_time
from worker.signing.check.signature import Check, Known, check_document_timestamp, check_signature
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD, FORMS, OWN_KEY_FOLLOWS, SEAL_FIELD
from worker.signing.report import PackageReport, SignatureReport, TimestampReport
from worker.signing.trust.role_trust import RoleTrust, Trust, read_roles
from worker.signing.trust.roles import Place, confusions, place_of
from worker.signing.updates.explain import unexplained

_ABOUT = "package.json"
_OWN_KEY = "own_key"


def verify(pdf: bytes, *, trust: RoleTrust, now: datetime) -> PackageReport:
    """Check every signature and the form of the package; whatever the bytes are, answer with a report.

    Sound means: the fields are exactly those of a package, and document time stamps after its signatures; the seal came
    first and lets only signatures follow; each signature and time stamp is intact, trusted for its own place, and
    followed by permitted changes only; the last one covers the file to its end. Complete means that nothing is awaited
    besides.
    """
    trusted = read_roles(trust)
    digest = sha256(pdf).hexdigest()
    try:
        return _examine(pdf, digest=digest, trust=trusted, now=now)
    except UNREADABLE as error:
        problem = f"This is not a PDF that can be read; it may be damaged or cut short ({error})."
        return PackageReport(sha256=digest, problems=(problem,))


def _examine(pdf: bytes, *, digest: str, trust: Trust, now: datetime) -> PackageReport:
    reader = PdfFileReader(BytesIO(pdf))
    made: Sequence[EmbeddedPdfSignature] = reader.embedded_signatures
    signed = [one for one in made if not _is_document_timestamp(one)]
    if not signed:
        return PackageReport(
            sha256=digest, problems=("The document is not signed.",), attachments=attachment_digests(reader)
        )
    stamps = {str(one.field_name) for one in made if _is_document_timestamp(one)}
    fields = [name for name, _, _ in enumerate_sig_fields(reader) if name not in stamps]
    form = _form_of(fields)
    seal = signed[0].signer_cert
    places = {one.field_name: place_of(str(one.field_name), one.signer_cert, form=form, seal=seal) for one in signed}
    checks = _check_each(made, places=places, pdf=pdf, trust=trust, now=now)
    signatures = tuple(one.report for one in checks if isinstance(one.report, SignatureReport))
    timestamps = tuple(one.report for one in checks if isinstance(one.report, TimestampReport))
    problems = [
        *_form_problems(reader, fields, form=form, stamps=len(timestamps)),
        *_order_problems(reader, made),
        *_misorder(signatures, form=form),
        *confusions([*places.values()], trust),
        *(problem for check in checks for problem in check.problems),
        *unexplained(pdf, reader, certified=made[0].signed_revision),
    ]
    if not checks[-1].covers_whole_file:
        problems.append("Something was added to the file after the last signature.")
    return PackageReport(
        sha256=digest,
        form=form,
        awaited=tuple(_awaited(reader, signatures, form=form)),
        signatures=signatures,
        timestamps=timestamps,
        problems=tuple(problems),
        certified_sha256=sha256(pdf[: _end_of_certified_part(made)]).hexdigest(),
        attachments=attachment_digests(reader),
    )


def _form_of(fields: Collection[str]) -> int:
    """Return the newest form of package whose fields these could be."""
    return max(FORMS) if DECISION_FIELD in fields else min(FORMS)


def _awaited(reader: PdfFileReader, signatures: Sequence[SignatureReport], *, form: int) -> Iterator[SignaturePlace]:
    """Give what is to come, in the order in which a package asks for it.

    In form 2 the contractor says when submitting, and the engineer when deciding, whether a key of their own follows.
    """
    reasons = {one.field: one.reason or "" for one in signatures}
    if SEAL_FIELD not in reasons:
        return
    if CONTRACTOR_FIELD not in reasons and (form == 1 or _contractor_signs(reader)):
        yield SignaturePlace.CONTRACTOR
    if form == 1:
        if ENGINEER_FIELD not in reasons:
            yield SignaturePlace.ENGINEER
    elif DECISION_FIELD not in reasons:
        yield SignaturePlace.DECISION
    elif ENGINEER_FIELD not in reasons and reasons[DECISION_FIELD].rstrip().endswith(OWN_KEY_FOLLOWS):
        yield SignaturePlace.ENGINEER


def _misorder(signatures: Sequence[SignatureReport], *, form: int) -> Iterator[str]:
    """Say where a signature stands before what it is about."""
    fields = [one.field for one in signatures]
    if form == 1 or ENGINEER_FIELD not in fields:
        return
    if DECISION_FIELD not in fields[: fields.index(ENGINEER_FIELD)]:
        yield "The owner's engineer signed before the decision was in the file: that signature covers no decision."


def _contractor_signs(reader: PdfFileReader) -> bool:
    try:
        about: Any = orjson.loads(attachment_of(reader, _ABOUT) or b"")
    except orjson.JSONDecodeError:
        # That the data are damaged is said where they are read.
        return False
    return isinstance(about, dict) and about.get("contractor_signature") == _OWN_KEY


def _is_document_timestamp(one: EmbeddedPdfSignature) -> bool:
    """Tell a time stamp over the document from somebody's signature."""
    return str(one.sig_object_type) == "/DocTimeStamp"


def _check_each(
    made: Sequence[EmbeddedPdfSignature], *, places: Mapping[str, Place], pdf: bytes, trust: Trust, now: datetime
) -> Sequence[Check]:
    """Check what was made, in the order of signing.

    From the last to the first, for each later time stamp over the document proves when the earlier was there: a
    signature outlives its certificate so, and an authority's key that is stolen later makes nothing that is older.
    """
    known = Known(moment=now, following=None, now=now)
    checks: list[Check] = []
    for one in reversed(made):
        place = places.get(one.field_name)
        if place is not None:
            checks.append(check_signature(one, place=place, pdf=pdf, trust=trust, known=known))
            continue
        checks.append(check_document_timestamp(one, pdf=pdf, trust=trust, moment=known.moment))
        if not checks[-1].problems:
            known = Known(moment=stated_time(one.signed_data), following=one, now=now)
    return checks[::-1]


def _form_problems(reader: PdfFileReader, fields: Sequence[str], *, form: int, stamps: int) -> Iterator[str]:
    expected = FORMS[form]
    # A field more would be a place for something that no rule below is about.
    if sorted(fields) != sorted(expected) or len(reader.root["/AcroForm"]["/Fields"]) != len(expected) + stamps:
        yield (
            "The document does not have exactly the signature fields of an acceptance package: "
            f"expected {', '.join(expected)}; found {', '.join(fields)}."
        )


def _order_problems(reader: PdfFileReader, made: Sequence[EmbeddedPdfSignature]) -> Iterator[str]:
    first = made[0]
    certification = read_certification_data(reader)
    is_certified = (
        certification is not None and certification.author_sig.container_ref == first.sig_object.container_ref
    )
    if first.field_name != SEAL_FIELD or not is_certified:
        yield "The first signature is not the service's seal that certifies the document."
    # ISO 32000-1, table 254 (from memory): more would permit comments, which can be drawn over what a page says.
    elif first.docmdp_level != MDPPerm.FILL_FORMS:
        yield "The service's seal does not limit later changes to signatures."


def _end_of_certified_part(made: Sequence[EmbeddedPdfSignature]) -> int:
    """Return where the certified file ended: with the seal, or with the time stamps that followed it."""
    *_, last = made[0], *takewhile(_is_document_timestamp, made[1:])
    return int(last.byte_range[2]) + int(last.byte_range[3])
