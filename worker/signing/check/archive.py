"""Tell whether a signature can be checked for as long as its last document time stamp can (PAdES B-LTA)."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from asn1crypto import x509
from pyhanko.pdf_utils.reader import HistoricalResolver, PdfFileReader
from pyhanko.sign.ades.report import AdESFailure, AdESIndeterminate, AdESPassed, AdESSubIndic
from pyhanko.sign.general import extract_certificate_info
from pyhanko.sign.validation import DocumentSecurityStore, EmbeddedPdfSignature, policy_decl
from pyhanko.sign.validation.ades import ades_lta_validation
from pyhanko.sign.validation.errors import NoDSSFoundError
from pyhanko_certvalidator import CertificateValidator
from pyhanko_certvalidator.context import CertValidationPolicySpec
from pyhanko_certvalidator.errors import CRLValidationError, OCSPValidationError, PathError, ValidationError
from pyhanko_certvalidator.ltv.types import ValidationTimingInfo
from pyhanko_certvalidator.policy_decl import (
    NO_REVOCATION,
    REQUIRE_REVINFO,
    CertRevTrustPolicy,
    RevocationCheckingPolicy,
)
from pyhanko_certvalidator.registry import SimpleTrustManager

from worker.signing.check.change_policy import CHANGE_POLICY
from worker.signing.check.parsing import attached_token, stated_time
from worker.signing.trust.role_trust import Trust
from worker.signing.trust.roles import Place

UNPROVEN = (PathError, ValidationError, CRLValidationError, OCSPValidationError)
WITHDRAWN = (AdESFailure.REVOKED, AdESIndeterminate.REVOKED_NO_POE, AdESIndeterminate.REVOKED_CA_NO_POE)


@dataclass(frozen=True, kw_only=True)
class ArchiveCheck:
    """Whether the document holds all that is needed, and whether what it holds speaks against the signature."""

    is_archived: bool
    is_withdrawn: bool


NOT_ARCHIVED = ArchiveCheck(is_archived=False, is_withdrawn=False)


def check_archive(
    signature: EmbeddedPdfSignature, *, place: Place, following: EmbeddedPdfSignature, trust: Trust, now: datetime
) -> ArchiveCheck:
    """Run the standard's validation with what the document holds, and look for the time-stamp authority's proof too.

    ETSI EN 319 102-1, 5.6.3, as the library implements it. Whether the authority of the last time stamp was withdrawn
    only the network knows: as everywhere here, it is not asked.
    """
    time = _policy(trust.time, rule=NO_REVOCATION)
    signers = place.anchors(trust, now=stated_time(following.signed_data))
    spec = policy_decl.SignatureValidationSpec(
        cert_validation_policy=_policy(signers, rule=REQUIRE_REVINFO),
        ts_cert_validation_policy=time,
        revinfo_gathering_policy=policy_decl.RevocationInfoGatheringSpec(
            online_fetching_rule=policy_decl.RevinfoOnlineFetchingRule.LOCAL_ONLY
        ),
    )
    of_document = policy_decl.PdfSignatureValidationSpec(spec, diff_policy=CHANGE_POLICY)
    timing = ValidationTimingInfo(validation_time=now, best_signature_time=now, point_in_time_validation=True)
    try:
        result = asyncio.run(ades_lta_validation(signature, of_document, timing_info=timing))
    # What cannot be read among the proofs is said where the updates are explained, and proves nothing.
    except (*UNPROVEN, ValueError):
        return NOT_ARCHIVED
    said: AdESSubIndic = result.ades_subindic
    is_proven = said is AdESPassed.OK and result.oldest_evidence_record_timestamp is not None
    return ArchiveCheck(
        is_archived=is_proven and _holds_proof_of_time(signature, following=following, anchors=trust.time),
        is_withdrawn=said in WITHDRAWN,
    )


def _policy(anchors: Sequence[x509.Certificate], *, rule: RevocationCheckingPolicy) -> CertValidationPolicySpec:
    return CertValidationPolicySpec(
        trust_manager=SimpleTrustManager.build(list(anchors)), revinfo_policy=CertRevTrustPolicy(rule)
    )


def _holds_proof_of_time(
    signature: EmbeddedPdfSignature, *, following: EmbeddedPdfSignature, anchors: Sequence[x509.Certificate]
) -> bool:
    """Tell whether the document said, when it was stamped, that the signature's time-stamp authority still held."""
    token = attached_token(signature)
    if token is None:
        return False
    reader: PdfFileReader = following.reader
    try:
        held = DocumentSecurityStore.read_dss(HistoricalResolver(reader, revision=following.signed_revision))
    except NoDSSFoundError:
        return False
    context = held.as_validation_context(
        {
            "trust_roots": list(anchors),
            "moment": stated_time(following.signed_data),
            # Nothing proves a time whose authority may have been withdrawn by then.
            "revocation_mode": "require",
        }
    )
    certificates = extract_certificate_info(token)
    validator = CertificateValidator(certificates.signer_cert, certificates.other_certs, context)
    try:
        asyncio.run(validator.async_validate_usage(set(), {"time_stamping"}))  # type: ignore[no-untyped-call]
    except UNPROVEN:
        return False
    return True
