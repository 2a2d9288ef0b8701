"""What traces taken while a closure is open say of a splice: an early warning, never part of the verdict."""

from collections.abc import Iterator
from typing import NamedTuple

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.words import Basis, Reason
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.clocks import Stamp
from worker.judgement.numbers.exact import db_text, limit_mdb, mdb_text, mean_tenth_mdb
from worker.judgement.traces.aligned_trace import Reading
from worker.judgement.traces.places import Place
from worker.judgement.words import DIRECTION_LABELS
from worker.judgement.work.items import Cause

_INTERIM = {Reason.SEALING_NOT_RECORDED, Reason.CLOSURE_OPEN, Reason.BEFORE_SEALING}


class ActionLimits(NamedTuple):
    """A criterion's limits for what is known while a closure is open, after so many attempts at the joint."""

    criterion: SpliceLossCriterion
    attempts: int

    def of(self, limit_db: float | None) -> int | None:
        """Return a limit in 0.001 dB; after enough attempts nothing is asked for that the fallback would accept."""
        if limit_db is None:
            return None
        own, fallback = limit_mdb(limit_db), self.criterion.fallback
        if fallback is None or self.attempts < fallback.attempts:
            return own
        return max(own, limit_mdb(fallback.limit_db))


def interim_causes(fibre: FibreMeasured, place: Place, limits: ActionLimits, *, since: Stamp | None) -> Iterator[Cause]:
    """Return why a splice has to be made again by the traces since it was made.

    From both directions what will count at the end is held against the limit; one alone against the action limit too.
    """
    if place.is_group:
        return
    criterion = limits.criterion
    seen = [
        found
        for is_forward in (True, False)
        if (found := _latest(fibre, place, criterion.wavelength_nm, is_forward, since)) is not None
    ]
    if criterion.basis is Basis.ONE_WAY:
        causes = [cause for reading in seen for cause in _one_way_causes(limits, reading, criterion.limit_db, "limit")]
        if causes:
            yield causes[0]
            return
    # The limit of an estimate is none for what traces show.
    if len(seen) == 2 and criterion.basis is Basis.BIDIRECTIONAL:
        yield from _mean_causes(limits, *seen)
    elif len(seen) == 1:
        yield from _one_way_causes(limits, seen[0], criterion.one_way_action_limit_db, "action limit")


def _latest(
    fibre: FibreMeasured, place: Place, wavelength_nm: int, is_forward: bool, since: Stamp | None
) -> Reading | None:
    for trace in reversed(fibre.history.traces):
        if trace.wavelength_nm != wavelength_nm or trace.is_forward is not is_forward:
            continue
        if _is_interim(fibre, place, trace, since):
            shown = fibre.aligned(trace).readings[place.site_index]
            if isinstance(shown, Reading):
                return shown
    return None


def _is_interim(fibre: FibreMeasured, place: Place, trace: Trace, since: Stamp | None) -> bool:
    if trace.is_ended or trace.calibration_has_run_out or not trace.low_index < place.site_index < trace.high_index:
        return False
    if since is not None and trace.stamp.made_at <= since.made_at:
        return False
    # Where sealing is not asked for, every reading is final as soon as there is one from each direction.
    return not fibre.validity.final_after_sealing or fibre.validity.fault_at(trace, place.site_index) in _INTERIM


def _mean_causes(limits: ActionLimits, first: Reading, second: Reading) -> Iterator[Cause]:
    criterion, limit = limits.criterion, limits.of(limits.criterion.limit_db)
    low = mean_tenth_mdb(first_mdb=first.low_mdb, second_mdb=second.low_mdb)
    if limit is not None and low > limit * 10:
        said = "is" if first.is_seen and second.is_seen else "is at least"
        yield Cause(
            clause=f"the mean of both directions at {criterion.wavelength_nm} nm {said} {db_text(low)} dB, "
            f"above the limit of {mdb_text(limit)} dB",
            criteria=(criterion.code,),
            records=(first.trace.stamp.id, second.trace.stamp.id),
        )


def _one_way_causes(limits: ActionLimits, reading: Reading, limit_db: float | None, named: str) -> Iterator[Cause]:
    criterion, limit = limits.criterion, limits.of(limit_db)
    if limit is not None and reading.is_seen and reading.low_mdb > limit:
        yield Cause(
            clause=f"the one-way loss of {reading.text} dB ({DIRECTION_LABELS[reading.trace.is_forward]}, "
            f"{criterion.wavelength_nm} nm) is above the {named} of {mdb_text(limit)} dB",
            criteria=(criterion.code,),
            records=(reading.trace.stamp.id,),
        )
