"""The service's seal over what a person did, in the field that is kept for that person."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from service.storage.package_files import SignedFile
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.signatures import SignatureRole, SignedBy
from worker.package.typeface import REGULAR_FONT
from worker.signing.certificates import Trusted
from worker.signing.countersign import countersign
from worker.signing.fields import CONTRACTOR_FIELD, ENGINEER_FIELD
from worker.signing.keys import SigningKey
from worker.signing.sealing import Sealing
from worker.steps.context import StepContext
from worker.steps.levels import level_of

FIELDS: Mapping[SignatureRole, str] = MappingProxyType(
    {SignatureRole.CONTRACTOR: CONTRACTOR_FIELD, SignatureRole.ENGINEER: ENGINEER_FIELD}
)


@dataclass(frozen=True, kw_only=True)
class Act:
    """What a person did: in which role, said in the signature's reason and on the page."""

    role: SignatureRole
    person: str | None
    reason: str
    stamp_lines: Sequence[str]


def seal_act(
    context: StepContext, pdf: bytes, act: Act, *, key: SigningKey, sealing: Sealing, trust: Sequence[Trusted] = ()
) -> tuple[bytes, SignedFile]:
    """Seal an act into a package, saying in stamp and reason that it is the service's seal; return its file."""
    now = context.clock()
    sealed = countersign(
        pdf,
        key=key,
        signed_at=now,
        reason=f"Service's seal over the recorded {act.reason}",
        stamp_lines=act.stamp_lines,
        font_file=REGULAR_FONT,
        field=FIELDS[act.role],
        trust=[*context.trust, *trust],
        time_trust=context.time_trust,
        sealing=sealing,
    )
    return sealed.pdf, SignedFile(
        sha256=sha256_hex(sealed.pdf),
        role=act.role,
        signed_by=SignedBy.SERVICE_SEAL,
        person=act.person,
        certificate_sha256=key.certificate_sha256,
        signed_at=now,
        level=level_of(sealed.report),
    )
