"""The attempts at a splice, each a record of its own, and the wider limit for one that was tried often enough."""

from typing import NamedTuple

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.words import Outcome
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import SpliceAct
from worker.judgement.numbers.limits import Limit
from worker.judgement.rules.base import most_db


class FallbackLimit(NamedTuple):
    """What a splice that is over its limit may have after so many attempts."""

    limit: Limit
    attempts: int

    @classmethod
    def of(cls, criterion: SpliceLossCriterion) -> "FallbackLimit | None":
        """Return the fallback that a criterion allows."""
        fallback = criterion.fallback
        return None if fallback is None else cls(most_db(criterion, fallback.limit_db), fallback.attempts)


def attempts_at(fibre: FibreMeasured, joint: Joint) -> list[SpliceAct]:
    """Return the attempts at a joint in order of time; one without a position speaks for each splice of its site."""
    own = fibre.history.splices.get(joint.site, ())
    return [splice for splice in own if splice.position in {None, joint.position}]


def latest_splice(fibre: FibreMeasured, joint: Joint) -> SpliceAct | None:
    """Return the latest attempt at a joint."""
    for splice in reversed(fibre.history.splices.get(joint.site, ())):
        if splice.position is None or splice.position == joint.position:
            return splice
    return None


def count_attempts(fibre: FibreMeasured, joint: Joint) -> int:
    """Return how many attempts at a joint are documented."""
    return len({splice.stamp.id for splice in attempts_at(fibre, joint)})


def relax(own: Judgement, fallback: FallbackLimit | None, fibre: FibreMeasured, joint: Joint) -> Judgement:
    """Hold a splice that is not known to keep its own limit against the fallback, if it was tried often enough."""
    if fallback is None or own.bounds is None:
        return own
    attempts = count_attempts(fibre, joint)
    if attempts < fallback.attempts:
        return own
    held = own.held(*own.bounds, fallback.limit)
    if held.outcome is not Outcome.CONFORMING:
        return own
    detail = f"{own.detail}; out of specification, accepted after {attempts} documented attempts"
    return held._replace(detail=detail, by_fallback=True)
