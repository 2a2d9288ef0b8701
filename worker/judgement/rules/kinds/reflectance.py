"""The criterion about what joints send back."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.joints import ReflectanceCriterion
from service.vocabulary.criteria.words import From
from service.vocabulary.design.layout import Joint, Span
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.bidirectional import missing_reason
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.link_tests import known_of, tests_from
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.unexpected_events import section_at, unexpected_reflectance, unexpected_spots
from worker.judgement.history.validity import Side, void_records
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB
from worker.judgement.rules.base import LimitRule, hold_known_part, once_finished
from worker.judgement.rules.clean_cable import clean_sections
from worker.judgement.traces.places import Place
from worker.judgement.traces.reflections import OneWayReflectance, worst_shown


class ReflectanceRule(LimitRule[ReflectanceCriterion]):
    """One limit for the reflectance of each joint of a kind, or of each event, by the worse of the directions."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each joint of the kind; or one for each place and for each spot on no joint."""
        if self.criterion.joint is None:
            yield from self._of_events(fibre)
            return
        for place, joint in self.joints(fibre, self.criterion.joint):
            whole = self._judge_place(fibre, place)
            judgement = once_finished(fibre, (joint,), _of_member(whole, fibre, place, joint))
            yield self.joint_finding(fibre, joint, judgement)

    def _of_events(self, fibre: FibreMeasured) -> Iterator[Finding]:
        for place in fibre.places:
            own = [one for one in place.joints if one.segment in fibre.segments and self.scope.selects(one)]
            if own:
                # What a whole place sends back is of no joint of it in particular: it is named after its pair.
                named = place.pair if place.pair in own else own[0]
                judgement = once_finished(fibre, own, self._judge_place(fibre, place))
                yield self.joint_finding(fibre, named, judgement)
        if self.scope.cable:
            yield from self._of_spots(fibre)

    def _of_spots(self, fibre: FibreMeasured) -> Iterator[Finding]:
        asked, shown = self.criterion, set[str | None]()
        for spot in unexpected_spots(fibre, wavelengths_nm=[asked.wavelength_nm]):
            section = section_at(fibre, spot)
            if section in self.scope.cable:
                tests = tests_from(fibre, asked.tested_from, test="otdr", wavelength_nm=asked.wavelength_nm)
                judged = self._judge([unexpected_reflectance(fibre, spot, one) for one in tests])
                detail = f"{spot.said}: {judged.detail}"
                finding = self.section_finding(fibre, section, judged._replace(detail=detail))
                if finding.segments:
                    shown.add(finding.section)
                    yield finding
        if asked.at is not None:
            yield from clean_sections(self, fibre, shown, lambda span, _: self._judge_rest(fibre, span))

    def _judge_rest(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Tell whether the traces are there that would show an event: how weak a one they show nobody states."""
        asked = self.criterion
        ways = tests_from(fibre, asked.tested_from, test="otdr", wavelength_nm=asked.wavelength_nm, between=span)
        known = known_of(*ways)._replace(limit=self.limit)
        if known.reason is not None:
            return known
        return known._replace(outcome=Outcome.CONFORMING, detail="traces show no event on no joint")

    def _judge_place(self, fibre: FibreMeasured, place: Place) -> Judgement:
        return self._judge(self._ways(fibre, place))

    def _judge(self, ways: Sequence[OneWayReflectance]) -> Judgement:
        said = " and ".join(one.said for one in ways)
        known = Judgement(
            Outcome.UNDETERMINED,
            missing_reason(*(one.reason for one in ways)),
            f"the worse of {said}" if len(ways) > 1 else said,
            limit=self.limit,
            readings=tuple(reading for one in ways for reading in one.readings),
            void=tuple(void for one in ways for void in one.void),
        )
        there = [one.bounds_tenth_mdb for one in ways if one.bounds_tenth_mdb is not None]
        if not there:
            return known
        low, high = (max(bounds) * PDB_PER_TENTH_MDB for bounds in zip(*there, strict=True))
        return hold_known_part(known, low=low, high=high, limit=self.limit)

    def _ways(self, fibre: FibreMeasured, place: Place) -> Sequence[OneWayReflectance]:
        """Return the directions that are asked for; where either is enough, those that show anything."""
        tested_from = self.criterion.tested_from
        ways = [self._one_way(fibre, place, is_forward=is_forward) for is_forward in tested_from.directions]
        there = [one for one in ways if one.reason is None or one.bounds_tenth_mdb is not None]
        return there or ways if tested_from is From.EITHER else ways

    def _one_way(self, fibre: FibreMeasured, place: Place, *, is_forward: bool) -> OneWayReflectance:
        shown, void = fibre.traces.shown_at(place, Side(self.criterion.wavelength_nm, is_forward))
        return worst_shown(shown, is_forward=is_forward, void=void_records(void))


def _of_member(whole: Judgement, fibre: FibreMeasured, place: Place, joint: Joint) -> Judgement:
    """Return what a whole place's reflectance says of one of its joints: a fusion splice sends nothing back."""
    if not place.is_group or whole.outcome is Outcome.CONFORMING or whole.bounds is None:
        return whole
    together = place.zone or (place.site_index,)
    if [one for one in fibre.joints if one.site_index in together and one.kind is JointKind.PAIR] == [joint]:
        return whole
    detail = f"{joint.kind.value} {joint.position} was measured only together with what lies beside it: {whole.detail}"
    return whole._replace(outcome=Outcome.UNDETERMINED, reason=Reason.GROUP_ONLY, grade=None, detail=detail)
