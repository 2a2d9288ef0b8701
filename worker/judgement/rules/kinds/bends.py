"""The criterion about bends: a place that loses more the longer the wave."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.joints import BendCriterion
from service.vocabulary.criteria.words import Unit
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.words import Outcome, Reason
from service.vocabulary.quantities import to_last_place
from worker.judgement.fibre.bidirectional import BidirectionalLoss
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.unexpected_events import section_at, unexpected_loss, unexpected_spots
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, db_text
from worker.judgement.numbers.limits import Held, Limit, hold
from worker.judgement.rules.base import LimitRule
from worker.judgement.traces.places import Place


class BendRule(LimitRule[BendCriterion]):
    """How much more each place, and each spot on no joint, may lose at the longer wavelength than at the shorter."""

    def __init__(self, criterion: BendCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self._wavelengths_nm = (criterion.short_wavelength_nm, criterion.long_wavelength_nm)
        self._ratio_percent = to_last_place(criterion.ratio, places=2)

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each place, named after its pair if it has one, then one for each spot."""
        for place in fibre.places:
            joint = place.pair or place.joints[0]
            if joint.segment in fibre.segments and place.site_index in self.scope.sites:
                yield self.joint_finding(fibre, joint, self._judge_place(fibre, place))
        for spot in unexpected_spots(fibre, wavelengths_nm=self._wavelengths_nm):
            section = section_at(fibre, spot)
            if section in self.scope.sections:
                losses = [unexpected_loss(fibre, spot, wavelength_nm=nm) for nm in self._wavelengths_nm]
                judged = self._judge(*losses, where=f"{spot.from_a_m} m from A, where no joint is: ")
                finding = self.section_finding(fibre, section, judged)
                if finding.segments:
                    yield finding

    def _judge_place(self, fibre: FibreMeasured, place: Place) -> Judgement:
        short, long = (fibre.loss_at(place, wavelength_nm=nm) for nm in self._wavelengths_nm)
        return self._judge(short, long, where="")

    def _judge(self, short: BidirectionalLoss, long: BidirectionalLoss, *, where: str) -> Judgement:
        pairs = list(zip(self._wavelengths_nm, (short, long), strict=True))
        readings = tuple(reading._replace(wavelength_nm=nm) for nm, loss in pairs for reading in loss.readings)
        void = (*short.void, *long.void)
        known = Judgement(Outcome.UNDETERMINED, None, "", limit=self.limit, readings=readings, void=void)
        for nm, loss in pairs:
            if loss.reason is not None:
                detail = f"{where}at {nm} nm: {loss.detail}"
                return known._replace(reason=loss.reason, detail=detail)
        known = known._replace(detail=f"{where}{_losses_text(pairs[::-1])}")
        low = (long.low_tenth_mdb - short.high_tenth_mdb) * PDB_PER_TENTH_MDB
        high = (long.high_tenth_mdb - short.low_tenth_mdb) * PDB_PER_TENTH_MDB
        held, limit = self._hold(short, low_pdb=low, high_pdb=high)
        return known._replace(outcome=held.outcome, reason=held.reason, bounds=(low, high), limit=limit)

    def _hold(self, short: BidirectionalLoss, *, low_pdb: int, high_pdb: int) -> tuple[Held, Limit]:
        """Hold a difference against its limit, which grows with the loss at the shorter wavelength."""
        least_limit, most_limit = self._limit_beside(short.low_tenth_mdb), self._limit_beside(short.high_tenth_mdb)
        # The least difference there may be belongs to the most loss at the shorter wavelength.
        held = hold(low=low_pdb, high=low_pdb, limit=most_limit)
        if held.outcome is Outcome.NONCONFORMING:
            return held, most_limit
        held = hold(low=high_pdb, high=high_pdb, limit=least_limit)
        if held.outcome is Outcome.CONFORMING:
            return held, least_limit
        return Held(Outcome.UNDETERMINED, Reason.BOUND_TOO_WIDE), least_limit

    def _limit_beside(self, short_tenth_mdb: int) -> Limit:
        """Return the most difference beside a loss: as the criterion says, or what keeps the ratio if that is more."""
        short = short_tenth_mdb * PDB_PER_TENTH_MDB
        by_ratio = max(short, 0) * self._ratio_percent // 100 - short
        return self.limit if by_ratio <= self.limit.exact else Limit(by_ratio, unit=Unit.DB)


def _losses_text(pairs: Sequence[tuple[int, BidirectionalLoss]]) -> str:
    return " against ".join(f"{_bounds_text(loss)} at {nm} nm" for nm, loss in pairs)


def _bounds_text(loss: BidirectionalLoss) -> str:
    low, high = db_text(loss.low_tenth_mdb), db_text(loss.high_tenth_mdb)
    return f"{low} dB" if low == high else f"between {low} and {high} dB"
