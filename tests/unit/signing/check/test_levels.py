"""A signature is made at the level asked for or not at all, and a receiver is told the level that was reached."""

import asyncio
from dataclasses import replace
from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path

import pytest
from asn1crypto.crl import CertificateList
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.ades.report import AdESPassed
from pyhanko.sign.validation import DocumentSecurityStore
from pyhanko.sign.validation.ades import ades_lta_validation
from pyhanko.sign.validation.policy_decl import (
    PdfSignatureValidationSpec,
    RevinfoOnlineFetchingRule,
    RevocationInfoGatheringSpec,
    SignatureValidationSpec,
)
from pyhanko_certvalidator.context import CertValidationPolicySpec
from pyhanko_certvalidator.ltv.types import ValidationTimingInfo
from pyhanko_certvalidator.policy_decl import NO_REVOCATION, REQUIRE_REVINFO, CertRevTrustPolicy
from pyhanko_certvalidator.registry import SimpleTrustManager

from service.vocabulary.signatures import SignatureLevel
from tests.signed_documents import (
    CERTIFIED_AT,
    ELAPSED,
    FONT_FILE,
    NOW,
    STAMP_LINES,
    Signed,
    certify_document,
    countersign_document,
    flip_bit,
    make_authorities,
    make_sealing,
    sign_document,
    signed_gaps,
    time_stamped,
    time_stamped_by,
)
from worker.signing.check.verify import verify
from worker.signing.errors import LevelUnreachableError, OwnSignatureError
from worker.signing.fields import DECISION_FIELD
from worker.signing.make.countersign import countersign
from worker.signing.make.sealing import Sealing
from worker.signing.report import PackageReport
from worker.signing.trust.certificates import to_asn1
from worker.signing.trust.role_trust import RoleTrust

pytestmark = pytest.mark.slow

LATER = NOW + timedelta(days=500)


@pytest.fixture(scope="module", params=list(SignatureLevel))
def at_level(request: pytest.FixtureRequest, signed: Signed) -> tuple[SignatureLevel, Signed]:
    return request.param, sign_document(signed.authority, level=request.param)


@pytest.fixture(scope="module")
def archived(signed: Signed) -> Signed:
    return sign_document(signed.authority, level=SignatureLevel.B_LTA)


def check(pdf: bytes, *, signed: Signed, now: datetime = NOW) -> PackageReport:
    return verify(pdf, trust=RoleTrust(service=signed.trust), now=now)


def test_the_level_read_back_is_the_one_asked_for(at_level: tuple[SignatureLevel, Signed]) -> None:
    level, signed = at_level
    for pdf, stamps in ((signed.certified, 1), (signed.countersigned, 2)):
        report = check(pdf, signed=signed)
        assert report.problems == ()
        assert report.level is level
        assert {signature.baseline for signature in report.signatures} == {level}
        assert len(report.timestamps) == (stamps if level is SignatureLevel.B_LTA else 0)


def test_a_countersigned_file_still_holds_the_certified_one_with_its_time_stamps(
    at_level: tuple[SignatureLevel, Signed],
) -> None:
    _, signed = at_level
    assert signed.countersigned.startswith(signed.certified)
    certified = check(signed.certified, signed=signed)
    assert check(signed.countersigned, signed=signed).certified_sha256 == certified.sha256
    assert certified.certified_sha256 == certified.sha256


def test_a_proven_time_is_the_authoritys_and_not_the_signers(at_level: tuple[SignatureLevel, Signed]) -> None:
    level, signed = at_level
    [seal, engineer] = check(signed.countersigned, signed=signed).signatures
    stated = [CERTIFIED_AT + timedelta(seconds=1), NOW + timedelta(seconds=1)]
    assert [seal.proven_at, engineer.proven_at] == ([None, None] if level is SignatureLevel.B_B else stated)
    if level is not SignatureLevel.B_B:
        assert seal.timestamp is not None
        assert seal.timestamp.authority == "DEMONSTRATION time, not for real use"
        assert seal.timestamp.is_demonstration


def test_only_a_proven_time_outlives_the_signing_certificate(at_level: tuple[SignatureLevel, Signed]) -> None:
    level, signed = at_level
    assert signed.key.certificate.not_valid_after_utc < LATER
    report = check(signed.countersigned, signed=signed, now=LATER)
    if level is SignatureLevel.B_B:
        assert report.problems == (
            f"The signature of the service's seal rests on a certificate that is not valid on {LATER:%Y-%m-%d}.",
            "The signature of the service's seal over the decision rests on a certificate that is not valid on "
            f"{LATER:%Y-%m-%d}.",
        )
    else:
        assert report.problems == ()
        assert report.level is level


def test_the_standards_own_procedure_comes_to_the_same_after_the_certificates_end(
    at_level: tuple[SignatureLevel, Signed],
) -> None:
    level, signed = at_level
    passed = [said is AdESPassed.OK for said in validate_by_the_standard(signed, now=LATER)]
    assert passed == [level is SignatureLevel.B_LTA] * 2


def validate_by_the_standard(signed: Signed, *, now: datetime) -> list[object]:
    """Run the library's ETSI EN 319 102-1 validation on each signature, at a time that is simulated."""
    roots = SimpleTrustManager.build([to_asn1(signed.authority.root)])
    spec = SignatureValidationSpec(
        cert_validation_policy=CertValidationPolicySpec(roots, CertRevTrustPolicy(REQUIRE_REVINFO)),
        ts_cert_validation_policy=CertValidationPolicySpec(roots, CertRevTrustPolicy(NO_REVOCATION)),
        revinfo_gathering_policy=RevocationInfoGatheringSpec(RevinfoOnlineFetchingRule.LOCAL_ONLY),
    )
    timing = ValidationTimingInfo(validation_time=now, best_signature_time=now, point_in_time_validation=True)
    signatures = PdfFileReader(BytesIO(signed.countersigned)).embedded_regular_signatures
    return [
        asyncio.run(ades_lta_validation(one, PdfSignatureValidationSpec(spec), timing)).ades_subindic
        for one in signatures
    ]


def test_when_the_time_stamps_own_certificate_has_ended_it_proves_nothing_more(archived: Signed) -> None:
    after = archived.authority.time_certificate.not_valid_after_utc + timedelta(days=1)
    report = check(archived.countersigned, signed=archived, now=after)
    assert any("A time stamp over the document rests on a certificate that is not valid" in p for p in report.problems)
    assert report.level is SignatureLevel.B_B


def test_without_an_authority_no_level_with_a_time_can_be_planned() -> None:
    for level in (SignatureLevel.B_T, SignatureLevel.B_LTA):
        with pytest.raises(LevelUnreachableError, match=level.label):
            Sealing(level=level)


def test_the_weakest_signature_is_the_level_of_the_file(signed: Signed, archived: Signed) -> None:
    mixed = countersign_document(archived.certified, key=archived.key)
    report = check(mixed, signed=archived)
    assert report.problems == ()
    assert [one.baseline for one in report.signatures] == [SignatureLevel.B_LTA, SignatureLevel.B_B]
    assert report.level is SignatureLevel.B_B


def test_a_time_stamp_over_the_document_without_the_proofs_is_no_archive(signed: Signed) -> None:
    sealing = make_sealing(signed.authority, level=SignatureLevel.B_T, now=CERTIFIED_AT)
    sealed = certify_document(signed.unsigned, key=signed.key, sealing=sealing)
    report = check(time_stamped(sealed, signed.authority), signed=signed)
    assert report.problems == ()
    assert len(report.timestamps) == 1
    assert report.level is SignatureLevel.B_T


def test_a_time_stamp_over_the_document_proves_the_time_of_what_it_covers(signed: Signed) -> None:
    report = check(time_stamped(signed.certified, signed.authority), signed=signed, now=LATER)
    assert report.problems == ()
    assert report.signatures[0].proven_at == NOW + timedelta(seconds=1)
    assert report.level is SignatureLevel.B_T


def test_a_time_stamp_over_the_document_by_nobody_trusted_is_a_problem(signed: Signed, other_authority: Signed) -> None:
    report = check(time_stamped(signed.certified, other_authority.authority), signed=signed)
    assert report.problems == ("A time stamp over the document is by nobody that a trusted authority vouches for.",)
    assert report.level is SignatureLevel.B_B


@pytest.mark.parametrize(
    ("proven", "level"),
    [("both", SignatureLevel.B_LTA), ("the signer", SignatureLevel.B_T), ("the time", SignatureLevel.B_T)],
)
def test_an_archive_holds_proof_of_the_signer_and_of_its_time_stamp_authority(
    signed: Signed, other_authority: Signed, proven: str, level: SignatureLevel
) -> None:
    of_time = make_authorities(other_authority.authority, now=CERTIFIED_AT)
    sealing = Sealing(level=SignatureLevel.B_T, authorities=of_time)
    sealed = certify_document(signed.unsigned, key=signed.key, sealing=sealing)
    signer, time = signed.authority, other_authority.authority
    authorities = {"both": [signer, time], "the signer": [signer], "the time": [time]}[proven]
    lists = [one.revocation_list(now=CERTIFIED_AT - timedelta(hours=1)) for one in authorities]
    writer = IncrementalPdfFileWriter(BytesIO(sealed))
    DocumentSecurityStore.supply_dss_in_writer(
        writer,
        sig_contents=None,
        certs=[to_asn1(one.root) for one in authorities],
        crls=[CertificateList.load(one) for one in lists],
    )
    archived = time_stamped_by(writer, other_authority.authority)
    report = verify(archived, trust=RoleTrust(service=signed.trust, time=other_authority.trust), now=NOW)
    assert report.problems == ()
    assert report.level is level


def test_a_signature_that_stays_below_its_level_is_not_let_out(signed: Signed, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Sealing, "timestamper", lambda _: None)
    sealing = make_sealing(signed.authority, level=SignatureLevel.B_T, now=CERTIFIED_AT)
    with pytest.raises(OwnSignatureError, match="was to reach PAdES B-T, and reached PAdES B-B"):
        certify_document(signed.unsigned, key=signed.key, sealing=sealing)
    with pytest.raises(OwnSignatureError, match="was to reach PAdES B-T, and reached PAdES B-B"):
        countersign_document(signed.certified, key=signed.key, sealing=sealing)


def test_time_and_signers_may_be_vouched_for_by_others(signed: Signed, other_authority: Signed) -> None:
    stamped = time_stamped(signed.certified, other_authority.authority)
    assert verify(stamped, trust=RoleTrust(service=signed.trust, time=other_authority.trust), now=NOW).is_sound
    assert not verify(stamped, trust=RoleTrust(service=other_authority.trust, time=signed.trust), now=NOW).is_sound


def test_a_changed_time_stamp_over_the_document_is_seen(archived: Signed) -> None:
    pdf = archived.countersigned
    last_gap = signed_gaps(pdf)[-1]
    for position in range(last_gap.start + 200, last_gap.start + 4200, 800):
        report = check(flip_bit(pdf, position=position, bit=0), signed=archived)
        assert not report.is_sound, position


def test_cut_back_to_before_its_last_time_stamp_it_is_what_it_was_then(archived: Signed, tmp_path: Path) -> None:
    last_gap = signed_gaps(archived.certified)[0]
    after_seal = archived.certified[: archived.certified.index(b"%%EOF", last_gap.stop) + len(b"%%EOF\n")]
    report = check(after_seal, signed=archived)
    assert report.problems == ()
    assert report.level is SignatureLevel.B_T


def test_each_level_stands_over_those_before_it() -> None:
    assert [[one.reaches(asked) for asked in SignatureLevel] for one in SignatureLevel] == [
        [True, False, False],
        [True, True, False],
        [True, True, True],
    ]


def test_an_archive_is_countersigned_by_another_authority_with_its_own_time(
    archived: Signed, other_authority: Signed
) -> None:
    of_before = archived.authority.revocation_list(now=NOW - timedelta(hours=1))
    authorities = replace(make_authorities(other_authority.authority, now=NOW), revocation_lists=(of_before,))
    countersigned = countersign(
        archived.certified,
        key=other_authority.key,
        signed_at=NOW,
        reason="Accepted",
        field=DECISION_FIELD,
        stamps=[STAMP_LINES],
        font_file=FONT_FILE,
        trust=RoleTrust(service=archived.trust, time=archived.trust),
        sealing=Sealing(level=SignatureLevel.B_LTA, authorities=authorities),
    ).pdf
    both = [*archived.trust, *other_authority.trust]
    trust = RoleTrust(service=both, time=both)
    report = verify(countersigned, trust=trust, now=LATER)
    assert report.problems == ()
    assert report.level is SignatureLevel.B_LTA
    assert not check(countersigned, signed=archived).is_sound


def test_asking_with_time_between_leaves_the_certified_file_as_it_was(archived: Signed) -> None:
    sealing = make_sealing(archived.authority, level=SignatureLevel.B_LTA, now=NOW + ELAPSED)
    again = countersign_document(archived.certified, key=archived.key, signed_at=NOW + ELAPSED, sealing=sealing)
    assert again.startswith(archived.certified)
    assert check(again, signed=archived, now=NOW + ELAPSED).level is SignatureLevel.B_LTA
