"""Writing findings: one value, or bounds of one, held against one limit."""

from dataclasses import dataclass
from typing import NamedTuple

from service.vocabulary.criteria import AnyCriterion
from service.vocabulary.finding import FindingDocument, ReadingDocument, VoidDocument
from service.vocabulary.layout import Joint
from service.vocabulary.words import Outcome, Reason
from worker.judgement.exact import PDB_PER_TENTH_MDB, db_text, pdb_text
from worker.judgement.fibre_under_test import FibreUnderTest


@dataclass(frozen=True, kw_only=True, slots=True)
class Limit:
    """A limit, exact, with the text it is shown as."""

    exact_pdb: int
    text: str

    @classmethod
    def of(cls, exact_pdb: int) -> "Limit":
        """Return a limit with its text."""
        return cls(exact_pdb=exact_pdb, text=pdb_text(exact_pdb))


class Judgement(NamedTuple):
    """What holding a value against its limit gave."""

    outcome: Outcome
    reason: Reason | None
    detail: str
    bounds_tenth_mdb: tuple[int, int] | None = None
    limit: Limit | None = None
    readings: tuple[ReadingDocument, ...] = ()
    void: tuple[VoidDocument, ...] = ()


def hold(*, low_tenth_mdb: int, high_tenth_mdb: int, limit: Limit) -> tuple[Outcome, Reason | None]:
    """Hold a value known within bounds against its limit; at the limit it conforms."""
    if high_tenth_mdb * PDB_PER_TENTH_MDB <= limit.exact_pdb:
        return Outcome.CONFORMING, None
    if low_tenth_mdb * PDB_PER_TENTH_MDB > limit.exact_pdb:
        return Outcome.NONCONFORMING, None
    return Outcome.UNDETERMINED, Reason.BOUND_TOO_WIDE


def head_of(criterion: AnyCriterion) -> FindingDocument:
    """Return what all findings of a criterion have in common; the rest is written into a copy."""
    return {
        "criterion": criterion.code,
        "quantity": criterion.quantity.value,
        "force": criterion.force.value,
        "wavelength_nm": criterion.wavelength_nm,
        "fibre": 0,
        "segments": [],
        "outcome": "",
        "detail": "",
        "readings": [],
        "void": [],
    }


def joint_finding(head: FindingDocument, joint: Joint, judgement: Judgement) -> FindingDocument:
    """Write a finding about a joint."""
    finding = _finding(head, joint.fibre, [joint.segment], judgement)
    finding["site"] = joint.site
    finding["position"] = joint.position
    return finding


def link_finding(head: FindingDocument, fibre: FibreUnderTest, judgement: Judgement) -> FindingDocument:
    """Write a finding about a fibre from end to end."""
    finding = _finding(head, fibre.number, list(fibre.segments), judgement)
    finding["from_site"], finding["to_site"] = fibre.end_sites
    return finding


def _finding(head: FindingDocument, fibre: int, segments: list[str], judgement: Judgement) -> FindingDocument:
    finding = head.copy()
    finding["fibre"] = fibre
    finding["segments"] = segments
    finding["outcome"] = judgement.outcome.value
    finding["detail"] = judgement.detail
    finding["readings"] = list(judgement.readings)
    finding["void"] = list(judgement.void)
    if judgement.reason is not None:
        finding["reason"] = judgement.reason.value
    if judgement.limit is not None:
        finding["limit_db"] = judgement.limit.text
    if judgement.bounds_tenth_mdb is not None:
        _write_value(finding, judgement.bounds_tenth_mdb, judgement.limit)
    return finding


def _write_value(finding: FindingDocument, bounds_tenth_mdb: tuple[int, int], limit: Limit | None) -> None:
    low, high = bounds_tenth_mdb
    if low == high:
        finding["value_db"] = db_text(low)
    else:
        finding["low_db"], finding["high_db"] = db_text(low), db_text(high)
    if limit is not None:
        finding["margin_db"] = pdb_text(limit.exact_pdb - high * PDB_PER_TENTH_MDB)
