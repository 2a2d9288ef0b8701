"""The criterion about losses where the design has no joint."""

from collections.abc import Iterator

from service.vocabulary.criteria.joints import StrayLossCriterion
from service.vocabulary.criteria.words import LinkStretch
from service.vocabulary.design.layout import Span
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.link_tests import known_of, stretches_of, tests_from
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.unexpected_events import (
    UnexpectedSpot,
    joint_built_there,
    section_at,
    unexpected_loss,
    unexpected_spots,
)
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB
from worker.judgement.rules.base import LimitRule
from worker.judgement.rules.clean_cable import clean_sections, most_hidden_tenth_mdb
from worker.judgement.words import DIRECTION_LABELS, REASON_LABELS


class UnexpectedLossRule(LimitRule[StrayLossCriterion]):
    """One limit for each loss on no joint, and one finding that there is none above it."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each spot, and one for all that is joined where no spot is above the limit."""
        found: list[Finding] = []
        for spot in unexpected_spots(fibre, wavelengths_nm=[self.criterion.wavelength_nm]):
            section = section_at(fibre, spot)
            if section in self.scope.sections:
                finding = self.section_finding(fibre, section, self._judge_spot(fibre, spot))
                found += [finding] if finding.segments else []
        yield from found
        if not fibre.is_continuous:
            return
        if self.criterion.at is not None:
            bad, others = {one.section for one in found if not one.is_good}, {one.section for one in found}
            yield from clean_sections(
                self, fibre, bad, lambda span, section: self._judge_rest(fibre, span, has_others=section in others)
            )
        elif self.scope.sections and all(finding.is_good for finding in found):
            for span in stretches_of(fibre, LinkStretch.JOINED):
                yield self.span_finding(fibre, span, self._judge_rest(fibre, span, has_others=bool(found)))

    def _judge_spot(self, fibre: FibreMeasured, spot: UnexpectedSpot) -> Judgement:
        asked = self.criterion
        loss = unexpected_loss(fibre, spot, asked.tested_from, wavelength_nm=asked.wavelength_nm)
        detail = f"{spot.said}: {loss.detail}"
        known = Judgement(
            Outcome.UNDETERMINED, loss.reason, detail, limit=self.limit, readings=loss.readings, void=loss.void
        )
        if loss.reason is not None:
            return known
        low, high = (bound * PDB_PER_TENTH_MDB for bound in (loss.low_tenth_mdb, loss.high_tenth_mdb))
        held = known.held(low, high, self.limit)
        place = joint_built_there(fibre, spot, wavelength_nm=self.criterion.wavelength_nm)
        if place is None or held.outcome is not Outcome.NONCONFORMING:
            return held
        # What may be a joint is no damage, until other fibres show where the joint is.
        said = f"{detail}; it may be the joint at {place.site}"
        return known._replace(reason=Reason.AMBIGUOUS_EVENT, detail=said)

    def _judge_rest(self, fibre: FibreMeasured, span: Span, *, has_others: bool) -> Judgement:
        """Tell whether the traces are there that would show a loss above the limit."""
        asked = self.criterion
        ways = tests_from(fibre, asked.tested_from, test="otdr", wavelength_nm=asked.wavelength_nm, between=span)
        known = known_of(*ways)
        if known.reason is not None:
            detail = f"what lies between the joints is not shown: {REASON_LABELS[known.reason]}"
            return known._replace(detail=detail, limit=self.limit)
        worst_tenth_mdb = most_hidden_tenth_mdb(fibre, span, ways)
        if worst_tenth_mdb is None:
            reason = Reason.NOISE_NOT_KNOWN
            detail = f"what lies between the joints is not shown: {REASON_LABELS[reason]}"
            return known._replace(reason=reason, detail=detail, limit=self.limit)
        within = worst_tenth_mdb * PDB_PER_TENTH_MDB
        ends = "from both ends" if len(ways) > 1 else DIRECTION_LABELS[ways[0].is_forward]
        what = "no other loss lies on no joint" if has_others else "no loss lies on no joint"
        known = known._replace(detail=f"{what}, as far as traces {ends} show one")
        return known.held(0, within, self.limit)
