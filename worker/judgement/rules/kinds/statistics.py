"""The criterion about joints together: their mean loss, or the share of them that keeps a limit."""

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import NamedTuple

from service.vocabulary.criteria.joints import JointStatisticCriterion, Population, Statistic
from service.vocabulary.criteria.words import Combination, From, Unit
from service.vocabulary.design.layout import Joint, Layout, Span
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading, VoidRecord
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.contributions import PartialSums, Tally
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import PARTS, PDB_PER_TENTH_MDB
from worker.judgement.numbers.limits import Limit, hold, to_parts
from worker.judgement.rules.base import LimitRule
from worker.judgement.rules.place_losses import limits_of, seen_loss
from worker.judgement.traces.places import Place
from worker.judgement.words import DIRECTION_LABELS

_PER_CENT = 100 * PARTS
_JOINT_LABELS = {
    JointKind.SPLICE: ("splice", "splices"),
    JointKind.PAIR: ("mated pair", "mated pairs"),
}
_OF_SEVERAL_FIBRES = {Population.SITE, Population.ROUTE}


class Member(NamedTuple):
    """One joint of a population: its loss lies between the bounds, in 0.0001 dB; `reason` says why it is not known.

    One that is read from one end only has a limit of its own.
    """

    joint: Joint
    is_first_at_place: bool
    reason: Reason | None
    bounds: tuple[int, int] | None = None
    is_one_way: bool = False
    readings: tuple[RecordReading, ...] = ()
    void: tuple[VoidRecord, ...] = ()


class JointStatisticRule(LimitRule[JointStatisticCriterion]):
    """One limit for the mean of a population's losses, or a least share of it that keeps a limit."""

    def __init__(self, criterion: JointStatisticCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        # One fibre holds only a part of such a population: settling judges it by the sums that each fibre gives.
        self.is_of_several_fibres = criterion.over in _OF_SEVERAL_FIBRES
        self._layout = layout
        # Of a share two things are limited: each joint's loss, and how many joints have to keep that.
        self._of_each, share = limits_of(criterion), criterion.least_share_percent
        if share is not None:
            self.limit = Limit(to_parts(share, places=2), unit=Unit.PERCENT, is_minimum=True)

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each population that is one fibre's alone."""
        if self.is_of_several_fibres:
            return
        members = list(self._members(fibre))
        for span in self._spans():
            for segment in fibre.segments:
                own = [one for one in members if one.joint.segment == segment and self._is_in(span, one)]
                if own:
                    yield self._fibre_finding(fibre, span, segment, own)

    def worst(self, fibre: FibreMeasured, finding: Finding) -> Member | None:
        """Return the joint known by itself that loses most, out of the population of a finding about one fibre."""
        index = fibre.layout.site_index
        assert finding.from_site is not None
        assert finding.to_site is not None
        span = Span(first=index[finding.from_site], last=index[finding.to_site])
        alone = {place.site_index for place in fibre.places if not place.is_group}
        own = [
            one
            for one in self._members(fibre)
            if one.joint.segment in finding.segments
            and self._is_in(span, one)
            and one.reason is None
            and (one.joint.kind is JointKind.PAIR or one.joint.site_index in alone)
        ]
        return max(own, key=lambda one: one.bounds or (0, 0), default=None)

    def partial_sums(self, fibre: FibreMeasured) -> Iterator[PartialSums]:
        """Give what one fibre adds to populations of several."""
        if self.is_of_several_fibres:
            yield from self._sums(self._members(fibre))

    def partial_sums_of_unknown(self, fibre: int) -> Iterator[PartialSums]:
        """Give what a fibre adds that could not be judged: joints of which nothing is known."""
        segments = self._layout.segments_of_fibre.get(fibre, ())
        yield from self._sums(
            Member(joint, False, Reason.NO_EVIDENCE)
            for joint in self._layout.joints_of(fibre)
            if joint.kind is self.criterion.joint and joint.segment in segments and self.scope.selects(joint)
        )

    def finding(self, segment: str, tally: Tally, where: str) -> Finding:
        """Hold what is known of a population against the limit; `where` it lies is said, and still to be added."""
        is_mean = self.criterion.statistic is Statistic.MEAN
        judged = self._judge_mean(tally, where) if is_mean else self._judge_share(tally, where)
        return Finding(self.criterion, judged, (segment,), population=self.criterion.over, members=tally.joints)

    def _spans(self) -> tuple[Span, ...]:
        whole = Span(first=0, last=len(self._layout.design.sites) - 1)
        return self.scope.spans if self.criterion.over is Population.SPAN else (whole,)

    def _is_in(self, span: Span, member: Member) -> bool:
        """Tell whether a joint is of a span: in a patch panel a pair is of both, a splice of that on its side."""
        index = member.joint.site_index
        if not span.first <= index <= span.last:
            return False
        if member.joint.kind is JointKind.PAIR:
            return True
        # Of the joints at one place the first lies towards A: it ends the span before, the others begin the next.
        if index == span.first:
            return not member.is_first_at_place
        return index < span.last or member.is_first_at_place

    def _members(self, fibre: FibreMeasured) -> Iterator[Member]:
        for place, joint in self.joints(fibre, self.criterion.joint):
            yield self._member(fibre, place, joint)

    def _member(self, fibre: FibreMeasured, place: Place, joint: Joint) -> Member:
        loss, is_one_way = seen_loss(fibre, place, self.criterion)
        bounds = loss.bounds_tenth_mdb
        if bounds is not None and place.is_group:
            # What lies behind a connection was measured with it. No true loss is below zero, so each has at most all.
            bounds = min(bounds[0], 0), bounds[1]
        return Member(joint, joint is place.joints[0], loss.reason, bounds, is_one_way, loss.readings, loss.void)

    def _sums(self, members: Iterable[Member]) -> Iterator[PartialSums]:
        by_segment: dict[str, dict[str | None, list[Member]]] = {}
        for member in members:
            site = member.joint.site if self.criterion.over is Population.SITE else None
            by_segment.setdefault(member.joint.segment, {}).setdefault(site, []).append(member)
        for segment, by_site in by_segment.items():
            columns = tuple(zip(*map(self._tally, by_site.values()), strict=True))
            yield PartialSums(self.criterion.code, segment, tuple(by_site), columns)

    def _tally(self, members: Iterable[Member]) -> Tally:
        count = unknown = low = high = inside = possible = one_way = 0
        for member in members:
            count += 1
            outcome = self._outcome(member)
            inside += outcome is Outcome.CONFORMING
            possible += outcome is not Outcome.NONCONFORMING
            one_way += member.is_one_way
            if member.reason is not None or member.bounds is None:
                unknown += 1
            else:
                low += member.bounds[0]
                high += member.bounds[1]
        return Tally(count, unknown, low, high, inside, possible, one_way)

    def _outcome(self, member: Member) -> Outcome:
        if member.bounds is None:
            return Outcome.UNDETERMINED
        low, high = (bound * PDB_PER_TENTH_MDB for bound in member.bounds)
        held = hold(low=low, high=high, limit=self._limit_for(one_way=member.is_one_way)).outcome
        # What is not known can only be worse.
        return held if member.reason is None or held is Outcome.NONCONFORMING else Outcome.UNDETERMINED

    def _limit_for(self, *, one_way: int) -> Limit:
        return self._of_each.one_way if one_way else self._of_each.limit

    def _judge_mean(self, tally: Tally, where: str) -> Judgement:
        detail = f"mean of {self._read}{self._counted(tally.joints)} {where}{_of_which(tally)}"
        limit = self._limit_for(one_way=tally.one_way)
        if tally.unknown:
            return Judgement(Outcome.UNDETERMINED, Reason.MEMBERS_UNKNOWN, detail, limit=limit)
        sums = tally.low_tenth_mdb, tally.high_tenth_mdb
        low, high = (Fraction(total * PDB_PER_TENTH_MDB, tally.joints) for total in sums)
        return Judgement(Outcome.UNDETERMINED, None, detail).held(low, high, limit)

    def _judge_share(self, tally: Tally, where: str) -> Judgement:
        numbers = str(tally.inside) if tally.inside == tally.possible else f"{tally.inside} to {tally.possible}"
        one_way = f", by one direction {self._of_each.one_way.text} dB" if tally.one_way else ""
        detail = f"{numbers} of {self._counted(tally.joints)} {where} within {self._of_each.limit.text} dB{one_way}"
        low, high = (Fraction(number * _PER_CENT, tally.joints) for number in (tally.inside, tally.possible))
        judged = Judgement(Outcome.UNDETERMINED, None, detail).held(low, high, self.limit)
        is_for_the_unknown = judged.outcome is Outcome.UNDETERMINED and tally.unknown
        return judged._replace(reason=Reason.MEMBERS_UNKNOWN) if is_for_the_unknown else judged

    def _counted(self, count: int) -> str:
        one, several = _JOINT_LABELS[self.criterion.joint]
        return f"1 {one}" if count == 1 else f"{count} {several}"

    @property
    def _read(self) -> str:
        """Say which direction of each joint counts, where it is not both."""
        tested_from, combination = self.criterion.tested_from, self.criterion.combination
        if tested_from in {From.A, From.B}:
            return f"the readings {DIRECTION_LABELS[tested_from is From.A]} of "
        return "the worse direction of " if combination is Combination.WORSE else ""

    def _fibre_finding(self, fibre: FibreMeasured, span: Span, segment: str, members: list[Member]) -> Finding:
        sites = self._layout.design.sites
        first, last = sites[span.first].id, sites[span.last].id
        finding = self.finding(segment, self._tally(members), f"on fibre {fibre.number} from {first} to {last}")
        # Only which records the readings are from: what each shows at each joint is not said here.
        readings = (RecordReading(one.record, one.direction) for member in members for one in member.readings)
        void = (one for member in members for one in member.void)
        judged = finding.judged._replace(readings=tuple(dict.fromkeys(readings)), void=tuple(dict.fromkeys(void)))
        return finding._replace(judged=judged, fibre=fibre.number, from_site=first, to_site=last)


def _of_which(tally: Tally) -> str:
    if tally.unknown:
        return f", of which {tally.unknown} {'is' if tally.unknown == 1 else 'are'} not known"
    return (
        f", of which {tally.one_way} {'is' if tally.one_way == 1 else 'are'} read from one end" if tally.one_way else ""
    )
