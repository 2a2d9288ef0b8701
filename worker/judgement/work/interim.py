"""What traces taken while a closure is open already say of a splice: an early warning, never part of the verdict.

They are held against action limits; from both directions against the limit itself, for that will count at the end.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.criteria.words import Basis, Combination, From
from service.vocabulary.findings.words import Reason
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import SpliceAct, Trace
from worker.judgement.history.validity import Side
from worker.judgement.numbers.clocks import Stamp
from worker.judgement.numbers.exact import db_text, limit_mdb, mdb_text, mean_tenth_mdb
from worker.judgement.traces.aligned_trace import Reading
from worker.judgement.traces.places import Place
from worker.judgement.words import DIRECTION_LABELS
from worker.judgement.work.bends import MeanLoss
from worker.judgement.work.items import VALUE, Cause

_INTERIM = {Reason.SEALING_NOT_RECORDED, Reason.CLOSURE_OPEN, Reason.BEFORE_SEALING}


class ActionLimits(NamedTuple):
    """A criterion's limits for what is known while a closure is open, after so many attempts at the joint."""

    criterion: SpliceLossCriterion
    attempts: int

    def hold(
        self, said: str, value_tenth_mdb: int, limit_db: float | None, named: str, *records: str, value: str
    ) -> Iterator[Cause]:
        """Give the cause that a loss above a limit is.

        After enough attempts nothing is asked for that the fallback would accept.
        """
        if limit_db is None:
            return
        limit, fallback = limit_mdb(limit_db), self.criterion.fallback
        if fallback is not None and self.attempts >= fallback.attempts:
            limit = max(limit, limit_mdb(fallback.limit_db))
        if value_tenth_mdb > limit * 10:
            yield Cause(f"{said} above the {named} of {mdb_text(limit)} dB", (self.criterion.code,), records, value)


def estimate_causes(limits: ActionLimits, splice: SpliceAct | None) -> Iterator[Cause]:
    """Return why a splice has to be made again by what the splicer estimated."""
    if splice is not None:
        limit_db, value = limits.criterion.estimate_action_limit_db, mdb_text(splice.estimate_mdb)
        said = f"the estimate of {VALUE} dB is"
        yield from limits.hold(said, splice.estimate_mdb * 10, limit_db, "action limit", splice.stamp.id, value=value)


def interim_causes(fibre: FibreMeasured, place: Place, limits: ActionLimits, *, since: Stamp | None) -> Iterator[Cause]:
    """Return why a splice has to be made again by the traces since it was made, held as they will be at the end."""
    criterion = limits.criterion
    seen = _both_sides(fibre, place, criterion.wavelength_nm, since)
    # The limit of an estimate is none for what traces show.
    if criterion.basis is Basis.TRACES:
        asked = [one for one in seen if one.trace.is_forward in criterion.tested_from.directions]
        causes = list(_limit_causes(limits, asked))
        if causes:
            yield causes[0]
            return
    if len(seen) == 1:
        yield from _one_way_causes(limits, seen[0], criterion.one_way_action_limit_db, "action limit")


def _limit_causes(limits: ActionLimits, asked: Sequence[Reading]) -> Iterator[Cause]:
    """Return why what the directions asked for show would not keep the limit at the end."""
    criterion = limits.criterion
    if len(asked) == 2 and criterion.combination is Combination.MEAN:
        yield from _mean_causes(limits, *asked)
    elif len(asked) == 2 or criterion.tested_from is not From.BOTH:
        limit_db = criterion.limit_db if len(asked) == 2 else criterion.limit_of_one_way_db
        for one in asked:
            yield from _one_way_causes(limits, one, limit_db, "limit")


def interim_means(fibre: FibreMeasured, place: Place, *, since: Stamp | None) -> list[MeanLoss]:
    """Return what both directions show of a place since a splice, by wavelength."""
    wavelengths = sorted({trace.wavelength_nm for trace in fibre.history.traces})
    both = [(nm, seen) for nm in wavelengths if len(seen := _both_sides(fibre, place, nm, since)) == 2]
    return [
        MeanLoss(
            nm,
            mean_tenth_mdb(first_mdb=one.low_mdb, second_mdb=other.low_mdb),
            mean_tenth_mdb(first_mdb=one.high_mdb, second_mdb=other.high_mdb),
        )
        for nm, (one, other) in both
    ]


def _both_sides(fibre: FibreMeasured, place: Place, wavelength_nm: int, since: Stamp | None) -> list[Reading]:
    sides = (Side(wavelength_nm, is_forward) for is_forward in (True, False))
    return [found for side in sides if (found := _latest(fibre, place, side, since)) is not None]


def _latest(fibre: FibreMeasured, place: Place, side: Side, since: Stamp | None) -> Reading | None:
    for trace in reversed(fibre.history.traces):
        if (trace.wavelength_nm, trace.is_forward) == side and _is_interim(fibre, place, trace, since):
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
    criterion, low = limits.criterion, mean_tenth_mdb(first_mdb=first.low_mdb, second_mdb=second.low_mdb)
    is_exact = first.is_seen and second.is_seen
    mean = f"the mean of both directions at {criterion.wavelength_nm} nm {'is' if is_exact else 'is at least'}"
    records = first.trace.stamp.id, second.trace.stamp.id
    yield from limits.hold(f"{mean} {VALUE} dB,", low, criterion.limit_db, "limit", *records, value=db_text(low))


def _one_way_causes(limits: ActionLimits, reading: Reading, limit_db: float | None, named: str) -> Iterator[Cause]:
    if reading.is_seen:
        direction, nm = DIRECTION_LABELS[reading.trace.is_forward], limits.criterion.wavelength_nm
        said, value = f"the one-way loss of {VALUE} dB ({direction}, {nm} nm) is", mdb_text(reading.high_mdb)
        yield from limits.hold(said, reading.low_mdb * 10, limit_db, named, reading.trace.stamp.id, value=value)
