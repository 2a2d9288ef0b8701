"""The loss of a place as a criterion asks for it: from which ends it is read, and what is made of two directions.

One direction is a reading, not the loss of what lies there: it also shows by how much the fibres on both sides differ.
"""

from typing import NamedTuple

from service.vocabulary.criteria.joints import PlaceLossCriterion
from service.vocabulary.criteria.words import Combination, From
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.bidirectional import (
    BidirectionalLoss,
    WorseDirection,
    from_one_end,
    worse_of_any,
    worse_of_both,
)
from worker.judgement.fibre.end_faces import end_face_fault
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.losses import PlaceLoss
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB
from worker.judgement.numbers.limits import Limit, hold, to_parts
from worker.judgement.rules.base import guarded_limit, hold_known_part
from worker.judgement.traces.places import Place
from worker.judgement.words import REASON_LABELS


class SeenLoss(NamedTuple):
    """The loss of a place as a criterion asks for it, and whether it is read from one end though both could be."""

    loss: BidirectionalLoss | WorseDirection
    is_one_way: bool = False


class PlaceLimits(NamedTuple):
    """A criterion's limit, and the one for what is read from one end only."""

    limit: Limit
    one_way: Limit


def limits_of(criterion: PlaceLossCriterion) -> PlaceLimits:
    """Return the limits of a criterion."""
    both, one_way = (
        guarded_limit(criterion, to_parts(limit_db, places=3))
        for limit_db in (criterion.limit_db, criterion.limit_of_one_way_db)
    )
    return PlaceLimits(both, one_way)


def judge_place(fibre: FibreMeasured, place: Place, criterion: PlaceLossCriterion, limits: PlaceLimits) -> Judgement:
    """Hold what a place loses against the limit for the ends that it is read from."""
    if criterion.is_mean_of_both:
        return _judge_mean(fibre, place, criterion.wavelength_nm, limits.limit)
    seen = seen_loss(fibre, place, criterion)
    loss, limit = seen.loss, limits.one_way if seen.is_one_way else limits.limit
    known = _known(loss, limit)
    bounds = loss.bounds_tenth_mdb
    if bounds is None:
        return known
    low, high = (bound * PDB_PER_TENTH_MDB for bound in bounds)
    return hold_known_part(known, low=low, high=high, limit=limit)


def seen_loss(fibre: FibreMeasured, place: Place, criterion: PlaceLossCriterion) -> SeenLoss:
    """Return what a place loses as a criterion asks for it."""
    return read_from(fibre, place, criterion.tested_from, criterion.combination, wavelength_nm=criterion.wavelength_nm)


def read_from(
    fibre: FibreMeasured, place: Place, tested_from: From, combination: Combination, *, wavelength_nm: int
) -> SeenLoss:
    """Return what a place loses at a wavelength, read from some ends."""
    losses = fibre.losses_at(wavelength_nm)[place.site_index]
    if tested_from is From.BOTH:
        return SeenLoss(_both(losses, combination))
    seen = _as_there(losses, tested_from, combination)
    criteria = fibre.prepared.end_faces.get(place.site_index)
    if criteria is not None:
        fault = end_face_fault(fibre.history, place, criteria)
        if fault is not None:
            loss = seen.loss
            detail = f"{REASON_LABELS[fault]}; {loss.detail}"
            return SeenLoss(WorseDirection(fault, None, detail, loss.readings, loss.void))
    return seen


def _both(losses: PlaceLoss, combination: Combination) -> BidirectionalLoss | WorseDirection:
    if combination is Combination.MEAN:
        return losses.both
    worse = worse_of_both(losses.forward, losses.backward)
    # Both may be there, and not of one and the same connection, or not of one fit to be measured.
    return losses.both if worse.reason is None and losses.both.reason is not None else worse


def _as_there(losses: PlaceLoss, tested_from: From, combination: Combination) -> SeenLoss:
    forward, backward, both = losses
    match tested_from:
        case From.A:
            return SeenLoss(from_one_end(forward, is_forward=True))
        case From.B:
            return SeenLoss(from_one_end(backward, is_forward=False))
    are_there = [way.reason is None for way in (forward, backward)]
    # Where the cords were changed in between there are two readings, and no mean of them.
    is_mean = all(are_there) and combination is Combination.MEAN and both.reason is not Reason.CORDS_CHANGED
    return SeenLoss(both if is_mean else worse_of_any(forward, backward), is_one_way=not all(are_there))


def _judge_mean(fibre: FibreMeasured, place: Place, wavelength_nm: int, limit: Limit) -> Judgement:
    loss = fibre.loss_at(place, wavelength_nm=wavelength_nm)
    if loss.reason is not None:
        return _known(loss, limit)
    low, high = loss.low_tenth_mdb * PDB_PER_TENTH_MDB, loss.high_tenth_mdb * PDB_PER_TENTH_MDB
    # Written at once: nearly every finding of a route comes through here.
    held = hold(low=low, high=high, limit=limit)
    return Judgement(held.outcome, held.reason, loss.detail, (low, high), limit, loss.readings, loss.void, held.grade)


def _known(loss: BidirectionalLoss | WorseDirection, limit: Limit) -> Judgement:
    return Judgement(
        Outcome.UNDETERMINED, loss.reason, loss.detail, limit=limit, readings=loss.readings, void=loss.void
    )
