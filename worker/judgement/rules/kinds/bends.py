"""The criterion about bends: a place that loses more the longer the wave."""

from collections.abc import Callable, Iterator, Sequence
from functools import partial

from service.vocabulary.criteria.joints import BendCriterion
from service.vocabulary.criteria.words import Combination, From, Unit
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.findings.words import Outcome, Reason
from service.vocabulary.quantities import to_last_place
from worker.judgement.fibre.bidirectional import BidirectionalLoss, WorseDirection
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.link_tests import known_of, tests_from
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.unexpected_events import UnexpectedSpot, section_at, unexpected_loss, unexpected_spots
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, db_text
from worker.judgement.numbers.limits import Held, Limit, hold
from worker.judgement.rules.base import LimitRule
from worker.judgement.rules.clean_cable import clean_sections, most_hidden_tenth_mdb
from worker.judgement.rules.place_losses import read_from
from worker.judgement.traces.places import Place
from worker.judgement.words import REASON_LABELS

_Loss = BidirectionalLoss | WorseDirection
_IN_TURN = (From.BOTH, From.A, From.B)


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
            if joint.segment in fibre.segments and place.site_index in self.scope.joint_sites:
                judged = self._judge_from_ends(partial(_loss_of_place, fibre, place), where="")
                yield self.joint_finding(fibre, joint, judged)
        shown: set[str | None] = set()
        for spot in unexpected_spots(fibre, wavelengths_nm=self._wavelengths_nm):
            section = section_at(fibre, spot)
            if section in self.scope.cable:
                where = f"{spot.said}: "
                judged = self._judge_from_ends(partial(_loss_of_spot, fibre, spot), where=where)
                finding = self.section_finding(fibre, section, judged)
                if finding.segments:
                    shown.add(finding.section)
                    yield finding
        if self.criterion.at is not None:
            yield from clean_sections(self, fibre, shown, lambda span, _: self._judge_rest(fibre, span))

    def _judge_rest(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Tell whether the traces are there that would show a bend, and how much of one they hide together."""
        asked = self.criterion.tested_from
        ways = [tests_from(fibre, asked, test="otdr", wavelength_nm=nm, between=span) for nm in self._wavelengths_nm]
        known = known_of(*(test for own in ways for test in own))._replace(limit=self.limit)
        hidden = [most_hidden_tenth_mdb(fibre, span, own) for own in ways] if known.reason is None else []
        reason = known.reason or (Reason.NOISE_NOT_KNOWN if None in hidden else None)
        if reason is not None:
            detail = f"what lies between the joints is not shown: {REASON_LABELS[reason]}"
            return known._replace(reason=reason, detail=detail)
        within = sum(one or 0 for one in hidden) * PDB_PER_TENTH_MDB
        return known._replace(detail="no bend lies on no joint, as far as traces show one").held(0, within, self.limit)

    def _judge_from_ends(self, loss_from: Callable[[From, int], _Loss], *, where: str) -> Judgement:
        """Judge by the ends asked for; where either is enough, by the first of both, A and B that tells anything."""
        tested_from = self.criterion.tested_from
        judged = [
            self._judge(*(loss_from(one, nm) for nm in self._wavelengths_nm), where=where)
            for one in (_IN_TURN if tested_from is From.EITHER else (tested_from,))
        ]
        return next((one for one in judged if one.bounds is not None), judged[0])

    def _judge(self, short: _Loss, long: _Loss, *, where: str) -> Judgement:
        pairs = list(zip(self._wavelengths_nm, (short, long), strict=True))
        readings = tuple(reading._replace(wavelength_nm=nm) for nm, loss in pairs for reading in loss.readings)
        void = (*short.void, *long.void)
        known = Judgement(Outcome.UNDETERMINED, None, "", limit=self.limit, readings=readings, void=void)
        for nm, loss in pairs:
            if loss.reason is not None:
                detail = f"{where}at {nm} nm: {loss.detail}"
                return known._replace(reason=loss.reason, detail=detail)
        (short_low, short_high), (long_low, long_high) = (_bounds(loss) for loss in (short, long))
        known = known._replace(detail=f"{where}{_losses_text(pairs[::-1])}")
        low, high = (long_low - short_high) * PDB_PER_TENTH_MDB, (long_high - short_low) * PDB_PER_TENTH_MDB
        held, limit = self._hold(short_low, short_high, low_pdb=low, high_pdb=high)
        return known._replace(outcome=held.outcome, reason=held.reason, bounds=(low, high), limit=limit)

    def _hold(self, short_low: int, short_high: int, *, low_pdb: int, high_pdb: int) -> tuple[Held, Limit]:
        """Hold a difference against its limit, which grows with the loss at the shorter wavelength."""
        least_limit, most_limit = self._limit_beside(short_low), self._limit_beside(short_high)
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


def _loss_of_place(fibre: FibreMeasured, place: Place, tested_from: From, wavelength_nm: int) -> _Loss:
    return read_from(fibre, place, tested_from, Combination.MEAN, wavelength_nm=wavelength_nm).loss


def _loss_of_spot(fibre: FibreMeasured, spot: UnexpectedSpot, tested_from: From, wavelength_nm: int) -> _Loss:
    return unexpected_loss(fibre, spot, tested_from, wavelength_nm=wavelength_nm)


def _bounds(loss: _Loss) -> tuple[int, int]:
    assert loss.bounds_tenth_mdb is not None
    return loss.bounds_tenth_mdb


def _losses_text(pairs: Sequence[tuple[int, _Loss]]) -> str:
    return " against ".join(f"{_bounds_text(loss)} at {nm} nm" for nm, loss in pairs)


def _bounds_text(loss: _Loss) -> str:
    low, high = map(db_text, _bounds(loss))
    return f"{low} dB" if low == high else f"between {low} and {high} dB"
