"""The criterion about what joints send back."""

from collections.abc import Iterator

from service.vocabulary.criteria.joints import ReflectanceCriterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.bidirectional import missing_reason
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.validity import Side, void_records
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB
from worker.judgement.rules.base import LimitRule, hold_known_part, once_finished
from worker.judgement.traces.places import Place
from worker.judgement.traces.reflections import OneWayReflectance, worst_shown


class ReflectanceRule(LimitRule[ReflectanceCriterion]):
    """One limit for the reflectance of each joint of a kind, the worse of both directions."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each joint of the kind."""
        for place, joint in self.joints(fibre, self.criterion.joint):
            whole = self._judge_place(fibre, place)
            judgement = once_finished(fibre, (joint,), _of_member(whole, fibre, place, joint))
            yield self.joint_finding(fibre, joint, judgement)

    def _judge_place(self, fibre: FibreMeasured, place: Place) -> Judgement:
        forward, backward = (self._one_way(fibre, place, is_forward=is_forward) for is_forward in (True, False))
        known = Judgement(
            Outcome.UNDETERMINED,
            missing_reason(forward.reason, backward.reason),
            f"the worse of {forward.said} and {backward.said}",
            limit=self.limit,
            readings=(*forward.readings, *backward.readings),
            void=(*forward.void, *backward.void),
        )
        there = [one.bounds_tenth_mdb for one in (forward, backward) if one.bounds_tenth_mdb is not None]
        if not there:
            return known
        low, high = (max(bounds) * PDB_PER_TENTH_MDB for bounds in zip(*there, strict=True))
        return hold_known_part(known, low=low, high=high, limit=self.limit)

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
