"""The criteria about a fibre from end to end or span by span: its attenuation, and the tests that have to be there."""

from collections.abc import Sequence

from service.vocabulary.criteria.links import FixedLimit, LinkAttenuationCriterion, RequiredTestCriterion
from service.vocabulary.criteria.selection import joins_unlike
from service.vocabulary.criteria.words import Combination
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.left_out import contradiction, half_text
from worker.judgement.fibre.link_tests import known_of, reading_of, tests_from
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import LinkLoss, Measurement
from worker.judgement.numbers.exact import (
    PDB_PER_TENTH_MDB,
    TENTHS_PER_MDB,
    budget_pdb,
    mdb_text,
    mean_tenth_mdb,
    pairs_in_reading,
)
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.rules.base import EndToEndRule, guarded_limit, hold_known_part, joints_over
from worker.judgement.rules.traced_links import traced_link
from worker.judgement.words import DIRECTION_LABELS, TEST_LABELS


class LinkRule(EndToEndRule[LinkAttenuationCriterion]):
    """One limit for the loss from end to end, or of each span: a figure, or the budget of the design."""

    def __init__(self, criterion: LinkAttenuationCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        # Of fibres that are spliced alike the budget is one, over as many sections as the design has.
        self._limits: dict[tuple[int, Span, int], Limit | None] = {}

    def judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Hold a fibre's loss in the directions that are asked for against the limit."""
        asked = self.criterion
        if asked.basis == "otdr":
            return self._judge_traced(fibre, span)
        ways = tests_from(fibre, asked.tested_from, test="attenuation", wavelength_nm=asked.wavelength_nm, between=span)
        known = known_of(*ways, read=_reading_of_loss)
        if known.reason is not None:
            return known
        measured = [one for way in ways for one in way.measurements if isinstance(one, LinkLoss)]
        return self._hold(fibre, span, measured, known)

    def _hold(self, fibre: FibreMeasured, span: Span, measured: Sequence[LinkLoss], known: Judgement) -> Judgement:
        cords = {one.reference_cords for one in measured}
        asked = self.criterion.reference_cords
        if len(cords) > 1 or (asked is not None and asked not in cords):
            each = (f"{one.reference_cords} ({DIRECTION_LABELS[one.is_forward]})" for one in measured)
            wanted = "the same in both directions" if asked is None else f"{asked}"
            used = f"reference with {' and '.join(each)} cords"
            return known._replace(reason=Reason.REFERENCE_UNLIKE, detail=f"{used}, asked for: {wanted}")
        value_tenth_mdb, detail = self._combine(measured)
        contradicted = contradiction(fibre, self.criterion, span)
        if contradicted is not None:
            beside, why = contradicted
            return known._replace(
                reason=Reason.WHOLE_UNLIKE_PARTS,
                detail=f"{detail}, and {why}",
                readings=(*known.readings, *(reading_of(one.trace) for one in beside.traced)),
            )
        value = value_tenth_mdb * PDB_PER_TENTH_MDB
        limit = self._limit(fibre, span, reference_cords=measured[0].reference_cords)
        known = known._replace(detail=detail)
        return known._replace(reason=Reason.LIMIT_NOT_STATED) if limit is None else known.held(value, value, limit)

    def _judge_traced(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Hold what traces lose from where it is asked for against the limit; what they do not see only adds to it."""
        traced = traced_link(fibre, span, self.criterion)
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

    def _combine(self, measured: Sequence[LinkLoss]) -> tuple[int, str]:
        losses = [one.loss_mdb for one in measured]
        said = " and ".join(f"{mdb_text(one.loss_mdb)} dB ({DIRECTION_LABELS[one.is_forward]})" for one in measured)
        if len(losses) == 1:
            return losses[0] * TENTHS_PER_MDB, f"{said}, from one direction only"
        if self.criterion.combination is Combination.WORSE:
            return max(losses) * TENTHS_PER_MDB, f"the worse of {said}"
        return mean_tenth_mdb(first_mdb=losses[0], second_mdb=losses[1]), f"mean of {said}"

    def _limit(self, fibre: FibreMeasured, span: Span, *, reference_cords: int) -> Limit | None:
        plan = fibre.layout.first_alike(fibre.number), span, reference_cords
        if plan not in self._limits:
            self._limits[plan] = self._limit_of_plan(fibre, span, reference_cords=reference_cords)
        return self._limits[plan]

    def _limit_of_plan(self, fibre: FibreMeasured, span: Span, *, reference_cords: int) -> Limit | None:
        limit = self.criterion.limit
        if isinstance(limit, FixedLimit):
            return guarded_limit(self.criterion, to_parts(limit.limit_db, places=3))
        joints, sections = joints_over(fibre, span), fibre.layout.design.sections
        splices = [joint for joint in joints if joint.kind is JointKind.SPLICE]
        types = [section.fibre_type for section in sections]
        lengths_um = fibre.layout.section_lengths_um[span.first : span.last]
        budget = budget_pdb(
            limit,
            fibre=zip(types[span.first : span.last], lengths_um, strict=True),
            splices=len(splices),
            unlike_splices=sum(map(joins_unlike, splices)),
            counted_pairs=pairs_in_reading(pairs=len(joints) - len(splices), reference_cords=reference_cords),
        )
        return None if budget is None else guarded_limit(self.criterion, budget)


class RequiredTestRule(EndToEndRule[RequiredTestCriterion]):
    """One test that has to be there, final, from where it is asked for."""

    def judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Tell whether the test is there."""
        test, nm = self.criterion.test, self.criterion.wavelength_nm
        ways = tests_from(fibre, self.criterion.tested_from, test=test, wavelength_nm=nm, between=span)
        known = known_of(*ways, read=_reading_of_loss)
        if known.reason is Reason.ONE_DIRECTION_ONLY:
            # Each direction is asked for by itself: the one that is there says nothing of the one that is not.
            return known._replace(reason=Reason.NO_EVIDENCE)
        if known.reason is not None:
            return known
        named = f"{TEST_LABELS[test]}s at {nm} nm are there"
        there = f"{named} {'in both directions' if len(ways) > 1 else DIRECTION_LABELS[ways[0].is_forward]}"
        return known._replace(outcome=Outcome.CONFORMING, detail=there)


def _reading_of_loss(measurement: Measurement) -> RecordReading:
    return reading_of(measurement, measurement.loss_mdb if isinstance(measurement, LinkLoss) else None)
