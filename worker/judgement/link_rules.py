"""The criteria about a fibre from end to end: its attenuation, and the tests that have to be there."""

from abc import ABC, abstractmethod
from collections.abc import Iterator

from service.vocabulary.criteria import (
    AnyCriterion,
    Combination,
    FixedLimit,
    LinkAttenuationCriterion,
    RequiredTestCriterion,
)
from service.vocabulary.finding import FindingDocument, ReadingDocument
from service.vocabulary.words import JointKind, Outcome, Reason
from worker.judgement.end_to_end import EndToEndTest, Test, end_to_end_test
from worker.judgement.exact import PDB_PER_MDB, budget_pdb, limit_mdb, mdb_text, mean_tenth_mdb
from worker.judgement.fibre_under_test import FibreUnderTest, void_documents
from worker.judgement.findings import Judgement, Limit, head_of, hold, link_finding
from worker.judgement.history import LinkLoss, Measurement
from worker.judgement.words import DIRECTION, REASON_SPOKEN, SPOKEN, TEST_SPOKEN
from worker.physics.link import counted_connections


class EndToEndRule(ABC):
    """A criterion about a fibre as a whole."""

    def __init__(self, criterion: AnyCriterion) -> None:
        self._head = head_of(criterion)

    def findings(self, fibre: FibreUnderTest) -> Iterator[FindingDocument]:
        """Give one finding for a fibre that runs from end to end."""
        if fibre.is_continuous:
            yield link_finding(self._head, fibre, self._judge(fibre))

    @abstractmethod
    def _judge(self, fibre: FibreUnderTest) -> Judgement: ...


class LinkRule(EndToEndRule):
    """One limit for the end-to-end loss: a figure, or the budget of the design."""

    def __init__(self, criterion: LinkAttenuationCriterion) -> None:
        super().__init__(criterion)
        self.criterion = criterion

    def _judge(self, fibre: FibreUnderTest) -> Judgement:
        nm = self.criterion.wavelength_nm
        forward, backward = _both_ways(fibre, "attenuation", nm)
        losses = [loss for loss in (*forward.measurements, *backward.measurements) if isinstance(loss, LinkLoss)]
        known = _undetermined(_one_direction_reason(forward, backward), "attenuation", nm, forward, backward)
        if known.reason is not None:
            return known
        return self._hold(fibre, losses[0], losses[1], known)

    def _hold(self, fibre: FibreUnderTest, forward: LinkLoss, backward: LinkLoss, known: Judgement) -> Judgement:
        cords = {forward.reference_cords, backward.reference_cords}
        asked = self.criterion.reference_cords
        if len(cords) > 1 or (asked is not None and asked not in cords):
            used = f"reference with {forward.reference_cords} (A to B) and {backward.reference_cords} (B to A) cords"
            wanted = "the same in both directions" if asked is None else f"{asked}"
            return known._replace(reason=Reason.REFERENCE_UNLIKE, detail=f"{used}, asked for: {wanted}")
        value, detail = self._combine(forward, backward)
        limit = self._limit(fibre, reference_cords=forward.reference_cords)
        outcome, reason = hold(low_tenth_mdb=value, high_tenth_mdb=value, limit=limit)
        return known._replace(
            outcome=outcome, reason=reason, detail=detail, bounds_tenth_mdb=(value, value), limit=limit
        )

    def _combine(self, forward: LinkLoss, backward: LinkLoss) -> tuple[int, str]:
        said = f"{mdb_text(forward.loss_mdb)} dB (A to B) and {mdb_text(backward.loss_mdb)} dB (B to A)"
        if self.criterion.combination is Combination.WORSE:
            return max(forward.loss_mdb, backward.loss_mdb) * 10, f"the worse of {said}"
        return mean_tenth_mdb(first_mdb=forward.loss_mdb, second_mdb=backward.loss_mdb), f"mean of {said}"

    def _limit(self, fibre: FibreUnderTest, *, reference_cords: int) -> Limit:
        limit = self.criterion.limit
        if isinstance(limit, FixedLimit):
            return Limit.of(limit_mdb(limit.limit_db) * PDB_PER_MDB)
        kinds = [joint.kind for joint in fibre.joints]
        pairs = int(counted_connections(pairs=kinds.count(JointKind.PAIR), reference_cords=reference_cords))
        splices = kinds.count(JointKind.SPLICE)
        return Limit.of(budget_pdb(limit, length_um=fibre.length_um, splices=splices, counted_pairs=pairs))


class RequiredTestRule(EndToEndRule):
    """One test that has to be there, final, in both directions."""

    def __init__(self, criterion: RequiredTestCriterion) -> None:
        super().__init__(criterion)
        self.criterion = criterion

    def _judge(self, fibre: FibreUnderTest) -> Judgement:
        test, nm = self.criterion.test, self.criterion.wavelength_nm
        forward, backward = _both_ways(fibre, test, nm)
        known = _undetermined(_missing_reason(forward, backward), test, nm, forward, backward)
        if known.reason is not None:
            return known
        there = f"{TEST_SPOKEN[test]}s at {nm} nm are there in both directions"
        return known._replace(outcome=Outcome.CONFORMING, detail=there)


def _both_ways(fibre: FibreUnderTest, test: Test, wavelength_nm: int) -> tuple[EndToEndTest, EndToEndTest]:
    return (
        end_to_end_test(fibre, test=test, wavelength_nm=wavelength_nm, is_forward=True),
        end_to_end_test(fibre, test=test, wavelength_nm=wavelength_nm, is_forward=False),
    )


def _undetermined(
    reason: Reason | None, test: Test, wavelength_nm: int, forward: EndToEndTest, backward: EndToEndTest
) -> Judgement:
    """Return what is known before anything is held against a limit; without a reason it is to be held."""
    return Judgement(
        outcome=Outcome.UNDETERMINED,
        reason=reason,
        detail=_missing_detail(test, wavelength_nm, forward, backward),
        readings=tuple(_reading(found) for found in (*forward.measurements, *backward.measurements)),
        void=void_documents((*forward.void, *backward.void)),
    )


def _missing_reason(forward: EndToEndTest, backward: EndToEndTest) -> Reason | None:
    reasons = [reason for reason in (forward.missing, backward.missing) if reason is not None]
    return next((reason for reason in reasons if reason is not Reason.NO_EVIDENCE), reasons[0] if reasons else None)


def _one_direction_reason(forward: EndToEndTest, backward: EndToEndTest) -> Reason | None:
    reason = _missing_reason(forward, backward)
    is_one_way = (forward.missing is None) is not (backward.missing is None)
    return Reason.ONE_DIRECTION_ONLY if is_one_way and reason is Reason.NO_EVIDENCE else reason


def _missing_detail(test: Test, wavelength_nm: int, forward: EndToEndTest, backward: EndToEndTest) -> str:
    parts = []
    for found, is_forward in ((forward, True), (backward, False)):
        named = f"{TEST_SPOKEN[test]} {SPOKEN[is_forward]} at {wavelength_nm} nm"
        if found.missing is Reason.NO_EVIDENCE:
            parts.append(f"no {named}")
        elif found.missing is not None:
            parts.append(f"no {named} that counts: {REASON_SPOKEN[found.missing]}")
    return "; ".join(parts)


def _reading(measurement: Measurement) -> ReadingDocument:
    reading: ReadingDocument = {"record": measurement.stamp.id, "direction": DIRECTION[measurement.is_forward]}
    if isinstance(measurement, LinkLoss):
        reading["value_db"] = mdb_text(measurement.loss_mdb)
    return reading
