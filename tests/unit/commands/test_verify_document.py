"""What `verify --json` says is read by other people's programs: a member that goes, or comes, is meant."""

from datetime import UTC, datetime

from service.vocabulary.signatures import SignatureLevel, SignedBy
from worker.commands.page_comparison import PageComparison
from worker.commands.verify import Checked, as_document
from worker.signing.report import PackageReport, SignatureReport, TimestampReport

NOON = datetime(2026, 11, 30, 12, tzinfo=UTC)

OF_A_TIME = {"stated_at", "authority", "is_intact", "is_trusted", "certificate_sha256", "is_demonstration"}
OF_A_SIGNATURE = {
    *("field", "title", "signed_by", "signer", "signed_at", "proven_at", "timestamp", "reason", "is_intact"),
    *("is_trusted", "covers_whole_file", "level", "baseline", "changes", "certificate_sha256", "is_demonstration"),
}
OF_A_PACKAGE = {
    *("is_good", "state", "level", "sha256", "form", "awaited", "signatures", "timestamps", "problems"),
    *("certified_sha256", "attachments", "data"),
}
OF_THE_DATA = {
    *("pages", "page_count", "pages_differing", "first_page_differing", "drawn_by", "pages_form", "audit_head"),
}


def test_the_members_of_a_verification_as_json_are_kept() -> None:
    time = TimestampReport(
        stated_at=NOON,
        authority="A time authority",
        is_intact=True,
        is_trusted=True,
        certificate_sha256="0" * 64,
        is_demonstration=True,
    )
    signature = SignatureReport(
        field="Seal",
        title="seal",
        signed_by=SignedBy.SERVICE_SEAL,
        signer="A service",
        signed_at=NOON,
        proven_at=NOON,
        timestamp=time,
        reason=None,
        is_intact=True,
        is_trusted=True,
        covers_whole_file=True,
        level="PAdES B-T",
        baseline=SignatureLevel.B_T,
        changes="none",
        certificate_sha256="0" * 64,
        is_demonstration=True,
    )
    report = PackageReport(sha256="0" * 64, signatures=(signature,), timestamps=(time,), problems=())
    document = as_document(Checked(report, PageComparison()))

    assert document.keys() == OF_A_PACKAGE
    assert document["signatures"][0].keys() == OF_A_SIGNATURE
    assert document["signatures"][0]["timestamp"].keys() == document["timestamps"][0].keys() == OF_A_TIME
    assert document["data"].keys() == OF_THE_DATA
