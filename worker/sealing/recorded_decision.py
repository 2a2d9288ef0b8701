"""The service's seal over a recorded decision, in a place of its own."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from service.storage.packages import SignedFile
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.signatures import SignaturePlace, SignatureRole, SignedBy
from worker.jobs.context import StepContext
from worker.package.fonts.text_style import REGULAR_FONT
from worker.sealing.decision_words import Declared
from worker.sealing.levels import level_of
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.countersign import countersign
from worker.signing.make.sealing import Sealing
from worker.signing.trust.certificates import Trusted
from worker.signing.trust.role_trust import RoleTrust

FIELDS: Mapping[SignatureRole, str] = MappingProxyType(
    {SignatureRole.CONTRACTOR: CONTRACTOR_FIELD, SignatureRole.ENGINEER: ENGINEER_FIELD}
)
_PLACES: Mapping[str, SignaturePlace] = MappingProxyType(
    {DECISION_FIELD: SignaturePlace.DECISION, ENGINEER_FIELD: SignaturePlace.ENGINEER}
)


@dataclass(frozen=True, kw_only=True)
class Act:
    """What is sealed: in which field, whose act it was, and what stamp and reason say of it."""

    field: str
    person: str | None
    declared: Declared


def seal_act(
    context: StepContext, pdf: bytes, act: Act, *, key: SigningKey, sealing: Sealing, contractor: Sequence[Trusted] = ()
) -> tuple[bytes, SignedFile]:
    """Seal an act into a package, saying in stamp and reason that it is the service's seal; return its file."""
    now = context.clock()
    whole, *shorter = act.declared.stamps
    sealed = countersign(
        pdf,
        key=key,
        signed_at=now,
        reason=act.declared.reason,
        stamp_lines=whole,
        shorter=shorter,
        font_file=REGULAR_FONT,
        field=act.field,
        trust=RoleTrust(service=context.trust, contractor=contractor, time=context.time_trust),
        sealing=sealing,
    )
    return sealed.pdf, SignedFile(
        sha256=sha256_hex(sealed.pdf),
        role=_PLACES[act.field],
        signed_by=SignedBy.SERVICE_SEAL,
        person=act.person,
        certificate_sha256=key.certificate_sha256,
        signed_at=now,
        level=level_of(sealed.report),
    )
