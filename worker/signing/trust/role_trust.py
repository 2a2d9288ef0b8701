"""Whom a receiver trusts, and in which words somebody is distrusted."""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from asn1crypto import x509
from pyhanko.sign.ades.report import AdESIndeterminate
from pyhanko.sign.validation.status import SignatureStatus
from pyhanko_certvalidator import ValidationContext

from worker.signing import fields
from worker.signing.trust.certificates import Trusted, from_asn1, is_valid_at, read_trust

# The libraries log what they distrust with a stack trace; here it is an answer, and stands in the report.
for _noisy in ("pyhanko", "pyhanko_certvalidator"):
    logging.getLogger(_noisy).setLevel(logging.CRITICAL)


@dataclass(frozen=True, kw_only=True)
class RoleTrust:
    """Whom a receiver trusts, each in one role only.

    `service` are the authorities of the service's seals. `contractor` and `engineer` are these people's own
    certificates, or authorities that issued them. `time` are the roots of time-stamp authorities; left out, the
    service's authorities vouch for the time as well.
    """

    service: Sequence[Trusted] = ()
    contractor: Sequence[Trusted] = ()
    engineer: Sequence[Trusted] = ()
    time: Sequence[Trusted] | None = None

    @property
    def everybody(self) -> Sequence[Trusted]:
        """Return whoever is trusted in any role."""
        return [*self.service, *self.contractor, *self.engineer, *(self.time or ())]

    def and_in(self, field: str, more: Sequence[Trusted]) -> "RoleTrust":
        """Return the same with more trusted in one place: a person's own, or the service's."""
        match field:
            case fields.CONTRACTOR_FIELD:
                return replace(self, contractor=[*self.contractor, *more])
            case fields.ENGINEER_FIELD:
                return replace(self, engineer=[*self.engineer, *more])
            case _:
                return replace(self, service=[*self.service, *more])

    def and_for_time(self, more: Sequence[Trusted]) -> "RoleTrust":
        """Return the same with more roots of time-stamp authorities."""
        return replace(self, time=[*(self.time or ()), *more] or None)


NOBODY = RoleTrust()


@dataclass(frozen=True, kw_only=True)
class Trust:
    """The certificates that vouch for each role, as read; for people by their fields."""

    service: Sequence[x509.Certificate]
    people: Mapping[str, Sequence[x509.Certificate]]
    time: Sequence[x509.Certificate]


def read_roles(trust: RoleTrust) -> Trust:
    """Read what a receiver trusts; for the service only authorities count: a person's key pinned there would seal."""
    service = [one for one in read_trust(trust.service) if one.ca]
    return Trust(
        service=service,
        people={
            fields.CONTRACTOR_FIELD: read_trust(trust.contractor),
            fields.ENGINEER_FIELD: read_trust(trust.engineer),
        },
        time=service if trust.time is None else read_trust(trust.time),
    )


def trusting(anchors: Sequence[x509.Certificate], *, moment: datetime) -> ValidationContext:
    """Return what certificates are checked in, as of a moment and without a network."""
    return ValidationContext(
        trust_roots=list(anchors), moment=moment, allow_fetching=False, revocation_mode="soft-fail"
    )


def is_sound(status: SignatureStatus) -> bool:
    """Tell whether what was signed is as it was, by somebody trusted."""
    return bool(status.intact and status.valid and status.trusted)


def distrust(status: SignatureStatus, *, purpose: str, moment: datetime, is_fit: bool = False) -> str:
    """Say why nobody trusted stands behind an intact signature, by a certificate that is fit for it or may not be.

    Of one that is its own issuer and unknown the library says the same as of one that is unfit.
    """
    if not is_valid_at(from_asn1(status.signing_cert), moment):
        return f"rests on a certificate that is not valid on {moment:%Y-%m-%d}"
    if status.trust_problem_indic is AdESIndeterminate.CHAIN_CONSTRAINTS_FAILURE and not is_fit:
        return f"rests on a certificate that is not meant for {purpose}"
    return "is by nobody that a trusted authority vouches for"
