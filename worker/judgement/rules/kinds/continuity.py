"""The criterion about identity: each fibre comes out where the design says."""

from collections.abc import Sequence

from service.vocabulary.criteria.links import ContinuityCriterion
from service.vocabulary.design.layout import Span
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.link_tests import both_ways, known_of, reading_of
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Continuity
from worker.judgement.history.validity import split_by_fault, void_records
from worker.judgement.numbers.clocks import order_is_proven
from worker.judgement.rules.base import EndToEndRule


class ContinuityRule(EndToEndRule[ContinuityCriterion]):
    """The number lit at one end is the number seen at the other; one direction is enough."""

    def judge(self, fibre: FibreMeasured, _: Span) -> Judgement:
        """Tell whether the fibre comes out under its own number, and no other does."""
        ways = both_ways(fibre, test="continuity", wavelength_nm=None)
        own = [one for way in ways for one in way.measurements if isinstance(one, Continuity)]
        others, void = _others(fibre, own)
        known = known_of(*ways)
        known = known._replace(
            readings=(*known.readings, *(reading_of(other) for other in others)),
            void=(*known.void, *void_records(void)),
        )
        if not own and not others:
            return known
        # Whatever one direction lacks, one test is enough.
        known = known._replace(reason=None, detail="; ".join(_test_text(fibre, one) for one in (*own, *others)))
        if others:
            return known._replace(outcome=Outcome.NONCONFORMING)
        seen = {one.seen_fibre for one in own}
        if len(seen) > 1:
            return known._replace(reason=Reason.READINGS_DISAGREE)
        return known._replace(outcome=Outcome.CONFORMING if seen == {fibre.number} else Outcome.NONCONFORMING)


def _others(
    fibre: FibreMeasured, own: Sequence[Continuity]
) -> tuple[list[Continuity], list[tuple[Continuity, Reason]]]:
    """Return the tests that count in which this fibre's number was seen while another was lit."""
    whole = (0, fibre.prepared.last_index)
    told = [one for one in fibre.history.links_of(Continuity) if one.fibre != fibre.number and one.span == whole]
    good, void = split_by_fault(told, fibre.validity.fault_of, fibre.validity.fault_over)
    return [one for one in good if not _is_superseded(fibre, one, own)], void


def _is_superseded(fibre: FibreMeasured, other: Continuity, own: Sequence[Continuity]) -> bool:
    """Tell whether the fibre itself was tested later and came out right."""
    return any(
        one.seen_fibre == fibre.number
        and one.stamp.made_at > other.stamp.made_at
        and order_is_proven(one.stamp, other.stamp)
        for one in own
    )


def _test_text(fibre: FibreMeasured, test: Continuity) -> str:
    near, far = (fibre.layout.design.sites[index].id for index in test.ends)
    lit = f"fibre {test.fibre} lit at {near}"
    if test.seen_fibre is None:
        return f"{lit}, all dark at {far}"
    if test.seen_fibre == test.fibre:
        return f"{lit}, seen at {far}"
    crossed = f"fibres {test.fibre} and {test.seen_fibre} are crossed"
    return f"{lit}, fibre {test.seen_fibre} seen at {far}: {crossed}"
