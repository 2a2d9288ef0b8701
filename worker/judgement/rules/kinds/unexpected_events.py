"""The criterion about losses where the design has no joint."""

from collections.abc import Iterable, Iterator

from service.vocabulary.criteria.joints import StrayLossCriterion
from service.vocabulary.criteria.words import LinkStretch
from service.vocabulary.design.layout import Span
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.link_tests import DirectionTest, known_of, stretches_of, tests_from
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.unexpected_events import (
    UnexpectedSpot,
    joint_built_there,
    section_at,
    unexpected_loss,
    unexpected_spots,
)
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, mean_tenth_mdb
from worker.judgement.rules.base import LimitRule
from worker.judgement.traces.noise import TraceNoise
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
        stretches = stretches_of(fibre, LinkStretch.JOINED)
        if self.criterion.at is None and self.scope.sections and all(finding.is_good for finding in found):
            for span in stretches:
                yield self.span_finding(fibre, span, self._judge_rest(fibre, span, has_others=bool(found)))
        elif self.criterion.at is not None:
            yield from self._rest_of_sections(fibre, stretches, found)

    def _rest_of_sections(
        self, fibre: FibreMeasured, stretches: Iterable[Span], found: Iterable[Finding]
    ) -> Iterator[Finding]:
        """Give one finding for each section that is named and has no spot above the limit, by what runs over it."""
        own = fibre.layout.design.sections
        bad, others = {one.section for one in found if not one.is_good}, {one.section for one in found}
        for section in sorted(self.scope.sections):
            over = next((span for span in stretches if span.first <= section < span.last), None)
            if over is not None and own[section].id not in bad:
                rest = self._judge_rest(fibre, over, has_others=own[section].id in others)
                finding = self.section_finding(fibre, section, rest)
                if finding.segments:
                    yield finding

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
        hidden = [_hidden_mdb(fibre, span, way) for way in ways]
        if any(one is None for own in hidden for one in own):
            reason = Reason.NOISE_NOT_KNOWN
            detail = f"what lies between the joints is not shown: {REASON_LABELS[reason]}"
            return known._replace(reason=reason, detail=detail, limit=self.limit)
        # Noise grows along each trace, so that both together hide the most at one of the two ends.
        at_ends = list(zip(*hidden, strict=True))
        worst_mdb = max(mean_tenth_mdb(first_mdb=own[0] or 0, second_mdb=own[-1] or 0) for own in at_ends)
        within = worst_mdb * PDB_PER_TENTH_MDB
        ends = "from both ends" if len(ways) > 1 else DIRECTION_LABELS[ways[0].is_forward]
        what = "no other loss lies on no joint" if has_others else "no loss lies on no joint"
        known = known._replace(detail=f"{what}, as far as traces {ends} show one")
        return known.held(0, within, self.limit)


def _hidden_mdb(fibre: FibreMeasured, span: Span, test: DirectionTest) -> tuple[int | None, int | None]:
    """Return what loss may be hidden at both ends: to one trace over all, or to the dullest of several."""
    traces = [one for one in test.measurements if isinstance(one, Trace)]
    hidden = [(trace, _at_ends_mdb(fibre, trace)) for trace in traces]
    over_all = [ends for trace, ends in hidden if trace.span == (span.first, span.last)]
    if over_all:
        at_a, at_b = ([one for one in own if one is not None] for own in zip(*over_all, strict=True))
        return min(at_a, default=None), min(at_b, default=None)
    both = [one for _, ends in hidden for one in ends]
    known = [one for one in both if one is not None]
    dullest = max(known) if len(known) == len(both) else None
    return dullest, dullest


def _at_ends_mdb(fibre: FibreMeasured, trace: Trace) -> tuple[int | None, int | None]:
    """Return what loss a trace may hide at its end towards A, and at that towards B."""
    scale = fibre.aligned(trace).scale
    noise = TraceNoise(trace, unseen_within_db=fibre.criteria.placing.unseen_within_db)
    near, far = noise.unseen_mdb(scale.start_um), noise.unseen_mdb(scale.end_um)
    return (near, far) if trace.is_forward else (far, near)
