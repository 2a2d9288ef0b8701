"""The criteria about a fibre from end to end or span by span: its attenuation, and the tests that have to be there."""

from service.vocabulary.criteria.links import (
    Combination,
    FixedLimit,
    LinkAttenuationCriterion,
    RequiredTestCriterion,
)
from service.vocabulary.design.layout import Span
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.left_out import contradiction, half_text
from worker.judgement.fibre.link_tests import both_ways, known_of, reading_of
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import LinkLoss, Measurement
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, budget_pdb, mdb_text, mean_tenth_mdb, pairs_in_reading
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.rules.base import EndToEndRule, guarded_limit, hold_known_part, joints_over
from worker.judgement.rules.traced_links import traced_link
from worker.judgement.words import TEST_LABELS


class LinkRule(EndToEndRule[LinkAttenuationCriterion]):
    """One limit for the loss from end to end, or of each span: a figure, or the budget of the design."""

    def judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Hold a fibre's loss in both directions against the limit."""
        if self.criterion.basis == "otdr":
            return self._judge_traced(fibre, span)
        ways = both_ways(fibre, test="attenuation", wavelength_nm=self.criterion.wavelength_nm, between=span)
        known = known_of(*ways, read=_reading_of_loss)
        if known.reason is not None:
            return known
        forward, backward = (one for way in ways for one in way.measurements if isinstance(one, LinkLoss))
        return self._hold(fibre, span, forward, backward, known)

    def _hold(
        self, fibre: FibreMeasured, span: Span, forward: LinkLoss, backward: LinkLoss, known: Judgement
    ) -> Judgement:
        cords = {forward.reference_cords, backward.reference_cords}
        asked = self.criterion.reference_cords
        if len(cords) > 1 or (asked is not None and asked not in cords):
            used = f"reference with {forward.reference_cords} (A to B) and {backward.reference_cords} (B to A) cords"
            wanted = "the same in both directions" if asked is None else f"{asked}"
            return known._replace(reason=Reason.REFERENCE_UNLIKE, detail=f"{used}, asked for: {wanted}")
        value_tenth_mdb, detail = self._combine(forward, backward)
        contradicted = contradiction(fibre, self.criterion, span)
        if contradicted is not None:
            beside, why = contradicted
            return known._replace(
                reason=Reason.WHOLE_UNLIKE_PARTS,
                detail=f"{detail}, and {why}",
                readings=(*known.readings, *(reading_of(one.trace) for one in beside.traced)),
            )
        value = value_tenth_mdb * PDB_PER_TENTH_MDB
        limit = self._limit(fibre, span, reference_cords=forward.reference_cords)
        known = known._replace(detail=detail)
        return known._replace(reason=Reason.LIMIT_NOT_STATED) if limit is None else known.held(value, value, limit)

    def _judge_traced(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Hold what the traces of both directions lose against the limit; what they do not see only adds to it."""
        traced = traced_link(fibre, span, wavelength_nm=self.criterion.wavelength_nm)
        known, limit = traced.known, self._limit(fibre, span, reference_cords=1)
        contradicted = None if traced.bounds is None else contradiction(fibre, self.criterion, span)
        if contradicted is not None:
            whole, why = contradicted
            detail = f"{known.detail}; source and meter show {half_text(whole.whole_mdb)} dB, and {why}"
            return known._replace(reason=Reason.WHOLE_UNLIKE_PARTS, detail=detail)
        if traced.bounds is None:
            return known
        if limit is None:
            return known._replace(reason=Reason.LIMIT_NOT_STATED)
        low, high = traced.bounds
        return hold_known_part(known, low=low, high=high, limit=limit)

    def _combine(self, forward: LinkLoss, backward: LinkLoss) -> tuple[int, str]:
        said = f"{mdb_text(forward.loss_mdb)} dB (A to B) and {mdb_text(backward.loss_mdb)} dB (B to A)"
        if self.criterion.combination is Combination.WORSE:
            return max(forward.loss_mdb, backward.loss_mdb) * 10, f"the worse of {said}"
        return mean_tenth_mdb(first_mdb=forward.loss_mdb, second_mdb=backward.loss_mdb), f"mean of {said}"

    def _limit(self, fibre: FibreMeasured, span: Span, *, reference_cords: int) -> Limit | None:
        limit = self.criterion.limit
        if isinstance(limit, FixedLimit):
            return guarded_limit(self.criterion, to_parts(limit.limit_db, places=3))
        joints, sections = joints_over(fibre, span), fibre.layout.design.sections
        splices = [joint for joint in joints if joint.kind is JointKind.SPLICE]
        types = [section.fibre_type for section in sections]
        unlike = [
            joint
            for joint in splices
            if fibre.layout.is_closure(joint.site) and len(set(types[joint.site_index - 1 : joint.site_index + 1])) > 1
        ]
        lengths_um = fibre.layout.section_lengths_um[span.first : span.last]
        budget = budget_pdb(
            limit,
            fibre=zip(types[span.first : span.last], lengths_um, strict=True),
            splices=len(splices),
            unlike_splices=len(unlike),
            counted_pairs=pairs_in_reading(pairs=len(joints) - len(splices), reference_cords=reference_cords),
        )
        return None if budget is None else guarded_limit(self.criterion, budget)


class RequiredTestRule(EndToEndRule[RequiredTestCriterion]):
    """One test that has to be there, final, in both directions."""

    def judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Tell whether the test is there."""
        test, nm = self.criterion.test, self.criterion.wavelength_nm
        ways = both_ways(fibre, test=test, wavelength_nm=nm, between=span)
        known = known_of(*ways, read=_reading_of_loss)
        if known.reason is Reason.ONE_DIRECTION_ONLY:
            # Each direction is asked for by itself: the one that is there says nothing of the one that is not.
            return known._replace(reason=Reason.NO_EVIDENCE)
        if known.reason is not None:
            return known
        there = f"{TEST_LABELS[test]}s at {nm} nm are there in both directions"
        return known._replace(outcome=Outcome.CONFORMING, detail=there)


def _reading_of_loss(measurement: Measurement) -> RecordReading:
    return reading_of(measurement, measurement.loss_mdb if isinstance(measurement, LinkLoss) else None)
