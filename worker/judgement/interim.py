"""What traces taken while a closure is open say of a splice: an early warning, never part of the verdict."""

from collections.abc import Iterator

from service.vocabulary.joint_criteria import SpliceLossCriterion
from service.vocabulary.words import Basis, Reason
from worker.judgement.acts import Trace
from worker.judgement.clocks import Stamp
from worker.judgement.exact import db_text, limit_mdb, mdb_text, mean_tenth_mdb
from worker.judgement.fibre_under_test import FibreUnderTest
from worker.judgement.placed import Reading
from worker.judgement.places import Place
from worker.judgement.words import SPOKEN
from worker.judgement.work_items import Cause

_INTERIM = {Reason.SEALING_NOT_RECORDED, Reason.CLOSURE_OPEN, Reason.BEFORE_SEALING}


def interim_causes(
    fibre: FibreUnderTest, place: Place, criterion: SpliceLossCriterion, *, since: Stamp | None
) -> Iterator[Cause]:
    """Return why a splice has to be made again by the traces since it was made.

    From both directions their mean counts, as it will at the end; from one alone, the action limit.
    """
    if place.is_group:
        return
    seen = [
        found
        for is_forward in (True, False)
        if (found := _latest(fibre, place, criterion.wavelength_nm, is_forward, since)) is not None
    ]
    if len(seen) == 2:
        # The limit of an estimate is none for what traces show.
        if criterion.basis is not Basis.ESTIMATE:
            yield from _mean_causes(criterion, *seen)
    elif seen:
        yield from _one_way_causes(criterion, seen[0])


def _latest(
    fibre: FibreUnderTest, place: Place, wavelength_nm: int, is_forward: bool, since: Stamp | None
) -> Reading | None:
    for trace in reversed(fibre.history.traces):
        if trace.wavelength_nm != wavelength_nm or trace.is_forward is not is_forward:
            continue
        if _is_interim(fibre, place, trace, since):
            shown = fibre.placed(trace).readings[place.site_index]
            if isinstance(shown, Reading):
                return shown
    return None


def _is_interim(fibre: FibreUnderTest, place: Place, trace: Trace, since: Stamp | None) -> bool:
    if trace.is_ended or trace.calibration_has_run_out or not trace.low_index < place.site_index < trace.high_index:
        return False
    if since is not None and trace.stamp.made_at <= since.made_at:
        return False
    # Where sealing is not asked for, every reading is final as soon as there is one from each direction.
    return not fibre.counting.final_after_sealing or fibre.counting.fault_at(trace, place.site_index) in _INTERIM


def _mean_causes(criterion: SpliceLossCriterion, first: Reading, second: Reading) -> Iterator[Cause]:
    limit = limit_mdb(criterion.limit_db)
    low = mean_tenth_mdb(first_mdb=first.low_mdb, second_mdb=second.low_mdb)
    if low > limit * 10:
        said = "is" if first.is_seen and second.is_seen else "is at least"
        yield Cause(
            clause=f"the mean of both directions at {criterion.wavelength_nm} nm {said} {db_text(low)} dB, "
            f"above the limit of {mdb_text(limit)} dB",
            criteria=(criterion.code,),
            records=(first.trace.stamp.id, second.trace.stamp.id),
        )


def _one_way_causes(criterion: SpliceLossCriterion, reading: Reading) -> Iterator[Cause]:
    if criterion.one_way_action_limit_db is None or not reading.is_seen:
        return
    action_limit = limit_mdb(criterion.one_way_action_limit_db)
    if reading.low_mdb > action_limit:
        yield Cause(
            clause=f"the one-way loss of {reading.text} dB ({SPOKEN[reading.trace.is_forward]}, "
            f"{criterion.wavelength_nm} nm) is above the action limit of {mdb_text(action_limit)} dB",
            criteria=(criterion.code,),
            records=(reading.trace.stamp.id,),
        )
