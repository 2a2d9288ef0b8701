"""The criterion about losses where the design has no joint."""

from collections.abc import Iterator

from service.vocabulary.criteria.joints import StrayLossCriterion
from service.vocabulary.findings.words import Outcome
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.link_tests import EndToEndTest, both_ways, known_of
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.unexpected_events import UnexpectedSpot, section_at, unexpected_loss, unexpected_spots
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, mean_tenth_mdb
from worker.judgement.rules.base import LimitRule
from worker.judgement.words import REASON_LABELS


class UnexpectedLossRule(LimitRule[StrayLossCriterion]):
    """One limit for each loss on no joint, and one finding that there is none above it."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each spot, and one for the whole fibre where no spot is above the limit."""
        found: list[Finding] = []
        for spot in unexpected_spots(fibre, wavelengths_nm=[self.criterion.wavelength_nm]):
            section = section_at(fibre, spot)
            if section in self.scope.sections:
                finding = self.section_finding(fibre, section, self._judge_spot(fibre, spot))
                found += [finding] if finding.segments else []
        yield from found
        if fibre.is_continuous and self.scope.sections and all(finding.is_good for finding in found):
            yield self.link_finding(fibre, self._judge_rest(fibre, has_others=bool(found)))

    def _judge_spot(self, fibre: FibreMeasured, spot: UnexpectedSpot) -> Judgement:
        loss = unexpected_loss(fibre, spot, wavelength_nm=self.criterion.wavelength_nm)
        detail = f"{spot.from_a_m} m from A, where no joint is: {loss.detail}"
        known = Judgement(
            Outcome.UNDETERMINED, loss.reason, detail, limit=self.limit, readings=loss.readings, void=loss.void
        )
        if loss.reason is not None:
            return known
        low, high = (bound * PDB_PER_TENTH_MDB for bound in (loss.low_tenth_mdb, loss.high_tenth_mdb))
        return known.held(low, high, self.limit)

    def _judge_rest(self, fibre: FibreMeasured, *, has_others: bool) -> Judgement:
        """Tell whether the traces are there that would show a loss above the limit."""
        ways = both_ways(fibre, test="otdr", wavelength_nm=self.criterion.wavelength_nm)
        known = known_of(*ways)
        if known.reason is not None:
            detail = f"what lies between the joints is not shown: {REASON_LABELS[known.reason]}"
            return known._replace(detail=detail, limit=self.limit)
        forward_mdb, backward_mdb = (_threshold_mdb(fibre, way) for way in ways)
        within = mean_tenth_mdb(first_mdb=forward_mdb, second_mdb=backward_mdb) * PDB_PER_TENTH_MDB
        what = "no other loss lies on no joint" if has_others else "no loss lies on no joint"
        known = known._replace(detail=f"{what}, as far as traces from both ends show one")
        return known.held(0, within, self.limit)


def _threshold_mdb(fibre: FibreMeasured, test: EndToEndTest) -> int:
    """Return the least loss that is shown everywhere: by one trace over all, or by the dullest of several."""
    traces = [one for one in test.measurements if isinstance(one, Trace)]
    over_all = [trace.threshold_mdb for trace in traces if trace.span == (0, fibre.prepared.last_index)]
    return min(over_all) if over_all else max(trace.threshold_mdb for trace in traces)
