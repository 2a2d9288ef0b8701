"""Holding what is shown of a place against a limit, on the basis that a contract names."""

from collections.abc import Callable

from service.vocabulary.words import Outcome, Reason
from worker.judgement.fibre.findings import Judgement, undetermined
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.worse_direction import WorseDirection, worse_of_any, worse_of_both
from worker.judgement.numbers.exact import PDB_PER_MDB, PDB_PER_TENTH_MDB
from worker.judgement.numbers.limits import Limit, hold
from worker.judgement.traces.places import Place

JudgePlace = Callable[[FibreMeasured, Place, int, Limit], Judgement]


def judge_mean(fibre: FibreMeasured, place: Place, wavelength_nm: int, limit: Limit) -> Judgement:
    """Hold the mean of both directions against a limit."""
    loss = fibre.loss_at(place, wavelength_nm=wavelength_nm)
    if loss.reason is not None:
        return undetermined(loss.reason, loss.detail, limit=limit, readings=loss.readings, void=loss.void)
    low, high = loss.low_tenth_mdb * PDB_PER_TENTH_MDB, loss.high_tenth_mdb * PDB_PER_TENTH_MDB
    # Written at once: nearly every finding of a route comes through here.
    held = hold(low=low, high=high, limit=limit)
    return Judgement(held.outcome, held.reason, loss.detail, (low, high), limit, loss.readings, loss.void, held.grade)


def judge_any_way(fibre: FibreMeasured, place: Place, wavelength_nm: int, limit: Limit) -> Judgement:
    """Hold the worse of the directions that are there against a limit."""
    loss = fibre.loss_at(place, wavelength_nm=wavelength_nm)
    if loss.reason is Reason.END_FACE_FAILED:
        return undetermined(loss.reason, loss.detail, limit=limit, readings=loss.readings, void=loss.void)
    forward = fibre.one_way_loss_at(place, wavelength_nm=wavelength_nm, is_forward=True)
    backward = fibre.one_way_loss_at(place, wavelength_nm=wavelength_nm, is_forward=False)
    return _hold(worse_of_any(forward, backward), limit)


def judge_each_way(fibre: FibreMeasured, place: Place, wavelength_nm: int, limit: Limit) -> Judgement:
    """Hold each of both directions against a limit: one alone may break it, and never keeps it."""
    forward = fibre.one_way_loss_at(place, wavelength_nm=wavelength_nm, is_forward=True)
    backward = fibre.one_way_loss_at(place, wavelength_nm=wavelength_nm, is_forward=False)
    worse = worse_of_both(forward, backward)
    loss = fibre.loss_at(place, wavelength_nm=wavelength_nm)
    if worse.reason is None and loss.reason is not None:
        # Both are there, and are not of one and the same connection, or not of one fit to be measured.
        return undetermined(loss.reason, loss.detail, limit=limit, readings=loss.readings, void=loss.void)
    return _hold(worse, limit)


def _hold(worse: WorseDirection, limit: Limit) -> Judgement:
    known = Judgement(
        Outcome.UNDETERMINED, worse.reason, worse.detail, limit=limit, readings=worse.readings, void=worse.void
    )
    if worse.bounds_mdb is None:
        return known
    low_mdb, high_mdb = worse.bounds_mdb
    held = known.held(low_mdb * PDB_PER_MDB, high_mdb * PDB_PER_MDB, limit)
    # What is not known can only be worse.
    return held if worse.reason is None or held.outcome is Outcome.NONCONFORMING else known
