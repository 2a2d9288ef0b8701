"""The service's seal over what a person did, in the field that is kept for that person."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from service.storage.package_files import SignedFile
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.signatures import SignatureRole, SignedBy
from worker.package.typeface import REGULAR_FONT
from worker.signing.certificates import Trusted
from worker.signing.countersign import countersign
from worker.signing.fields import CONTRACTOR_FIELD, ENGINEER_FIELD
from worker.signing.keys import SigningKey
from worker.steps.context import StepContext

FIELDS: Mapping[SignatureRole, str] = MappingProxyType(
    {SignatureRole.CONTRACTOR: CONTRACTOR_FIELD, SignatureRole.ENGINEER: ENGINEER_FIELD}
)


def seal_act(
    context: StepContext,
    pdf: bytes,
    *,
    key: SigningKey,
    role: SignatureRole,
    person: str | None,
    act: str,
    stamp_lines: Sequence[str],
    trust: Sequence[Trusted] = (),
) -> tuple[bytes, SignedFile]:
    """Seal an act into a package, saying in stamp and reason that it is the service's seal; return its file."""
    now = context.clock()
    sealed = countersign(
        pdf,
        key=key,
        signed_at=now,
        reason=f"Service's seal over the recorded {act}",
        stamp_lines=stamp_lines,
        font_file=REGULAR_FONT,
        field=FIELDS[role],
        trust=[*context.trust, *trust],
    )
    return sealed, SignedFile(
        sha256=sha256_hex(sealed),
        role=role,
        signed_by=SignedBy.SERVICE_SEAL,
        person=person,
        certificate_sha256=key.certificate_sha256,
        signed_at=now,
    )
