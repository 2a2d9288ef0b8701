"""At which level a signature is made, and whom that takes."""

import asyncio
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from io import BytesIO

from asn1crypto import x509 as asn1_x509
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.signers import PdfSignatureMetadata
from pyhanko.sign.signers.pdf_signer import (
    DSSContentSettings,
    SigDSSPlacementPreference,
    TimestampDSSContentSettings,
)
from pyhanko.sign.timestamps import TimeStamper
from pyhanko_certvalidator import ValidationContext

from service.vocabulary.signatures import SignatureLevel
from worker.signing.errors import LevelUnreachableError
from worker.signing.fields import title_of
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.revocation import Fetch, gather, read_revocation_list
from worker.signing.make.timestamps import AskTime, CheckedTimeStamper
from worker.signing.report import PackageReport
from worker.signing.trust.certificates import Trusted, from_asn1, read_trust

DIGEST = "sha256"


@dataclass(frozen=True, kw_only=True)
class Authorities:
    """Whom signing may ask: for the time, and whether certificates still hold.

    `trust` are the roots of the time-stamp authority, where the signers' own do not vouch for it. `revocation_lists`
    are taken as they are, and not fetched.
    """

    ask_time: AskTime
    fetch: Fetch
    trust: Sequence[Trusted]
    revocation_lists: Sequence[bytes] = ()


@dataclass(frozen=True, kw_only=True)
class Sealing:
    """The level that a signature has to reach: it is made there or not at all."""

    level: SignatureLevel = SignatureLevel.B_B
    authorities: Authorities | None = None

    def __post_init__(self) -> None:
        if self.level is not SignatureLevel.B_B and self.authorities is None:
            raise LevelUnreachableError(f"{self.level.label} takes a time-stamp authority, and none is named.")

    @property
    def time_trust(self) -> Sequence[Trusted]:
        """Return the roots that vouch for the time."""
        return () if self.authorities is None else self.authorities.trust

    def shortfalls(self, report: PackageReport, *, field: str) -> Iterator[str]:
        """Say in which way the last signature, read back, is another or stays below the level asked for."""
        last = report.signatures[-1]
        if last.field != field:
            yield f"The last signature is not the one of {title_of(field)}."
        if last.baseline is None or not last.baseline.reaches(self.level):
            yield f"The signature was to reach {self.level.label}, and reached {last.level}."

    def timestamper(self) -> TimeStamper | None:
        """Return what asks for time stamps, where this level has any."""
        if self.level is SignatureLevel.B_B or self.authorities is None:
            return None
        return CheckedTimeStamper(self.authorities.ask_time)

    def completed(
        self,
        metadata: PdfSignatureMetadata,
        *,
        pdf: bytes,
        key: SigningKey,
        timestamper: TimeStamper | None,
        trust: Sequence[Trusted],
        signed_at: datetime,
    ) -> PdfSignatureMetadata:
        """Return the metadata with what this level embeds: at B-LTA, proof that every certificate held.

        `trust` are the roots of whoever signed or stamped the document before.
        """
        if self.level is not SignatureLevel.B_LTA or self.authorities is None or timestamper is None:
            return metadata
        roots = read_trust([*key.anchors, *self.authorities.trust, *trust])
        of_time = _of_time(pdf, timestamper)
        certificates = [key.certificate, *key.chain, *(from_asn1(one) for one in (*of_time, *roots))]
        given = [read_revocation_list(one) for one in self.authorities.revocation_lists]
        found = gather(certificates, fetch=self.authorities.fetch, given=given)
        context = ValidationContext(
            trust_roots=roots,
            crls=list(found.lists),
            ocsps=list(found.answers),
            moment=signed_at,
            # Nothing is sealed on a certificate of which nobody says that it still holds.
            revocation_mode="require",
        )
        return replace(
            metadata,
            validation_context=context,
            embed_validation_info=True,
            use_pades_lta=True,
            dss_settings=_COVERED,
        )


ALONE = Sealing()
# Everything goes in before the time stamp over the document: left alone, the library adds an update that nobody signs.
_COVERED = DSSContentSettings(
    include_vri=False,
    placement=SigDSSPlacementPreference.TOGETHER_WITH_NEXT_TS,
    next_ts_settings=TimestampDSSContentSettings(include_vri=False, update_before_ts=True),
)


def _of_time(pdf: bytes, timestamper: TimeStamper) -> list[asn1_x509.Certificate]:
    """Return the certificates of the time-stamp authority, and of the one that stamped the document before."""
    asyncio.run(timestamper.async_dummy_response(DIGEST))
    before = [
        certificate
        for stamp in PdfFileReader(BytesIO(pdf)).embedded_timestamp_signatures
        for certificate in (stamp.signer_cert, *stamp.other_embedded_certs)
    ]
    return [*timestamper.cert_registry, *before]
