"""The level at which a package is sealed: what the criteria ask for, else what the settings make possible; its file."""

from datetime import datetime

from service.settings import CLOCK_TOLERANCE
from service.storage.packages import SignedFile
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.signatures import SignatureLevel, SignaturePlace, SignedBy
from worker.jobs.context import StepContext
from worker.jobs.outages import OutageError, offset_text
from worker.jobs.runner import HopelessError
from worker.package.data.content import Seal
from worker.sealing.trust_services import time_authority_host
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.sealing import Sealing
from worker.signing.report import PackageReport, Signed


class LevelNotReadBackError(Exception):
    """A file that was just signed shows no level."""


def sealing_for(context: StepContext, criteria: Criteria) -> Sealing:
    """Return how to seal; a level that cannot be reached is given up at once, and nothing lower is made."""
    authorities = context.authorities()
    level = level_asked(criteria)
    if criteria.signature_level is None and authorities is not None:
        level = SignatureLevel.B_T
    if level is SignatureLevel.B_B or authorities is not None:
        return Sealing(level=level, authorities=authorities)
    raise HopelessError(
        f"The criteria ask for signatures at {level.label} or above, and no time-stamp authority is named; nothing was "
        "signed. Set TIMESTAMP_URL and make the job due again."
    )


def level_asked(criteria: Criteria) -> SignatureLevel:
    """Return the lowest level at which anybody may sign."""
    return criteria.signature_level or SignatureLevel.B_B


def planned_seal(context: StepContext, sealing: Sealing) -> Seal:
    """Return what the package says of its own seal, before it has one."""
    host = None if sealing.level is SignatureLevel.B_B else time_authority_host(context.settings)
    return Seal(level=sealing.level, time_authority=host)


def sealed_file(
    signed: Signed, *, key: SigningKey, at: datetime, role: SignaturePlace | None = None, person: str | None = None
) -> SignedFile:
    """Return the file that the service's seal made, with the level that every signature in it reaches."""
    return SignedFile(
        sha256=sha256_hex(signed.pdf),
        role=role,
        signed_by=SignedBy.SERVICE_SEAL,
        person=person,
        certificate_sha256=key.certificate_sha256,
        signed_at=at,
        level=_level_of(signed.report),
    )


def _level_of(report: PackageReport) -> SignatureLevel:
    """Return the level that every signature of a file reaches, by what was read back from it.

    A file whose own time and the authority's do not agree is not let out.
    """
    last = report.signatures[-1]
    if last.timestamp is not None and last.signed_at is not None:
        offset = last.signed_at - last.timestamp.stated_at
        if abs(offset) > CLOCK_TOLERANCE:
            raise OutageError(
                f"This host's clock is {offset_text(offset)} the time authority's at {last.timestamp.authority}: "
                "nothing was issued."
            )
    if report.level is None:
        raise LevelNotReadBackError(" ".join(report.problems) or "One of its signatures is not PAdES.")
    return report.level
