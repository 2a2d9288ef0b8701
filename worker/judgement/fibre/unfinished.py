"""Splices that are not finished: the sleeve not shrunk, or the proof test not passed."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from service.vocabulary.design.layout import Joint
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.words import Reason
from worker.judgement.history.acts import History, SpliceAct
from worker.judgement.numbers.clocks import last_of_each_clock, latest_is_proven
from worker.judgement.words import REASON_LABELS


class Unfinished(NamedTuple):
    """Why a splice cannot conform yet, and the record that says so."""

    reason: Reason
    detail: str
    record: str


def unfinished_splices(history: History, joints: Iterable[Joint]) -> Mapping[tuple[str, int], Unfinished]:
    """Return the splices, by site and position, that their latest record does not say to be finished."""
    told = {site: acts for site, acts in history.splices.items() if any(_fault_of(act) for act in acts)}
    # As on nearly every fibre.
    if not told:
        return {}
    found: dict[tuple[str, int], Unfinished] = {}
    for joint in joints:
        if joint.kind is JointKind.SPLICE:
            own = [act for act in told.get(joint.site, ()) if act.position in {None, joint.position}]
            unfinished = _unfinished(own)
            if unfinished is not None:
                found[joint.site, joint.position] = unfinished
    return found


def _unfinished(attempts: list[SpliceAct]) -> Unfinished | None:
    if not attempts:
        return None
    if latest_is_proven([act.stamp for act in attempts]):
        fault = _fault_of(attempts[-1])
        return None if fault is None else Unfinished(Reason.WORK_NOT_FINISHED, fault, attempts[-1].stamp.id)
    # Any of these may be the latest.
    last = last_of_each_clock([act.stamp for act in attempts])
    doubtful = [act for act in attempts if act.stamp in last and _fault_of(act)]
    if not doubtful:
        return None
    reason = Reason.ORDER_NOT_PROVEN
    return Unfinished(reason, f"{_fault_of(doubtful[-1])}, or was, as {REASON_LABELS[reason]}", doubtful[-1].stamp.id)


def _fault_of(act: SpliceAct) -> str | None:
    if act.proof_test_passed is False:
        return "the splice did not pass its proof test"
    return None if act.sleeve_is_shrunk else "the sleeve has not been shrunk"
