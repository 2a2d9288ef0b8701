"""The reflectance that the traces of one direction show at a place: a value, or bounds of one."""

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

from service.vocabulary.findings.finding import RecordReading, VoidRecord
from service.vocabulary.findings.words import Reason
from service.vocabulary.records.words import EventKind, Qualifier
from worker.judgement.history.events import TraceEvent
from worker.judgement.numbers.exact import TENTHS_PER_MDB, db_text, mdb_text, rounded_tenth_mdb
from worker.judgement.traces.aligned_trace import Reading
from worker.judgement.words import DIRECTION, DIRECTION_LABELS, REASON_LABELS
from worker.physics.reflectance import event_reflectance_db

# The range in which a reflectance can be posted: no instrument sees less, and nothing sends back more than it gets.
_LEAST_TENTH_MDB, _MOST_TENTH_MDB = -1_200_000, 0


class Reflection(NamedTuple):
    """What one trace shows lies between the bounds; `reason` says why it may be anything above the lower one."""

    reason: Reason | None
    low_tenth_mdb: int
    high_tenth_mdb: int
    said: str
    reading: RecordReading


class OneWayReflectance(NamedTuple):
    """The reflectance of a place in one direction; without bounds nothing is known of it, with a reason not enough."""

    reason: Reason | None
    bounds_tenth_mdb: tuple[int, int] | None
    said: str
    readings: tuple[RecordReading, ...]
    void: tuple[VoidRecord, ...]


def worst_shown(
    shown: Sequence[Reading | Reason], *, is_forward: bool, void: tuple[VoidRecord, ...]
) -> OneWayReflectance:
    """Return the worst of what the traces of one direction show of a place.

    A trace whose reflection is cut off is outdone by one that shows it whole, unless they contradict each other.
    """
    seen = [_reflection(one, is_forward=is_forward) for one in shown if isinstance(one, Reading)]
    if not seen or Reason.AMBIGUOUS_EVENT in shown:
        missing = Reason.AMBIGUOUS_EVENT if seen else next(one for one in shown if isinstance(one, Reason))
        return OneWayReflectance(missing, None, f"{REASON_LABELS[missing]} ({DIRECTION_LABELS[is_forward]})", (), void)
    whole = [reflection for reflection in seen if reflection.reason is None]
    low = max(reflection.low_tenth_mdb for reflection in seen)
    high = max((reflection.high_tenth_mdb for reflection in whole), default=_MOST_TENTH_MDB)
    reason = next((one.reason for one in seen if one.reason is not None and (not whole or low > high)), None)
    return OneWayReflectance(
        reason=reason,
        bounds_tenth_mdb=(low, high if reason is None else _MOST_TENTH_MDB),
        said=f"{' and '.join(reflection.said for reflection in seen)} ({DIRECTION_LABELS[is_forward]})",
        readings=tuple(reflection.reading for reflection in seen),
        void=void,
    )


def _reflection(reading: Reading, *, is_forward: bool) -> Reflection:
    at_m = reading.events[0].at_m if reading.events else None
    said = RecordReading(reading.trace.stamp.id, DIRECTION[is_forward], distance_m=at_m)
    own = [_of_event(reading, event, said) for event in reading.events]
    if len(own) < 2:
        return own[0] if own else _unseen(reading, said)
    worst = max(own, key=lambda one: (one.high_tenth_mdb, one.low_tenth_mdb))
    return worst._replace(
        low_tenth_mdb=max(one.low_tenth_mdb for one in own), said=" and ".join(one.said for one in own)
    )


def _of_event(reading: Reading, event: TraceEvent, shown: RecordReading) -> Reflection:
    if event.reflectance_mdb is None:
        return _unstated(reading, event, shown)
    text = mdb_text(event.reflectance_mdb)
    shown = shown._replace(value=event.reflectance_mdb)
    value = event.reflectance_mdb * TENTHS_PER_MDB
    if event.kind is EventKind.SATURATED:
        # Cut off and yet said to be below something bounds nothing.
        least = _LEAST_TENTH_MDB if event.qualifier is Qualifier.LT else value
        said = f"at least {db_text(least)} dB, cut off"
        return Reflection(Reason.SATURATED, least, _MOST_TENTH_MDB, said, shown)
    if event.qualifier is Qualifier.LT:
        return Reflection(None, _LEAST_TENTH_MDB, value, f"at most {text} dB", shown)
    if event.qualifier is Qualifier.GT:
        return Reflection(None, value, _MOST_TENTH_MDB, f"at least {text} dB", shown)
    return Reflection(None, value, value, f"{text} dB", shown)


def _unstated(reading: Reading, event: TraceEvent, shown: RecordReading) -> Reflection:
    if event.kind is EventKind.NON_REFLECTIVE:
        return _unseen(reading, shown)
    is_saturated = event.kind is EventKind.SATURATED
    reason = Reason.SATURATED if is_saturated else Reason.REFLECTANCE_NOT_STATED
    return Reflection(reason, _LEAST_TENTH_MDB, _MOST_TENTH_MDB, REASON_LABELS[reason], shown)


def _unseen(reading: Reading, shown: RecordReading) -> Reflection:
    trace, hidden_mdb = reading.trace, reading.trace.threshold_mdb + (reading.noise_mdb or 0)
    most = _most_unseen_tenth_mdb(trace.backscatter_cdb, hidden_mdb, trace.pulse_ns)
    return Reflection(None, _LEAST_TENTH_MDB, most, f"none seen, so at most {db_text(most)} dB", shown)


@lru_cache(maxsize=256)
def _most_unseen_tenth_mdb(backscatter_cdb: int, hidden_mdb: int, pulse_ns: int) -> int:
    # A peak higher over the backscatter than threshold and noise hide would be an event of its own, common practice.
    most_db = event_reflectance_db(
        height_db=hidden_mdb / 1000, backscatter_coefficient_db=backscatter_cdb / 100, pulse_ns=pulse_ns
    )
    return min(max(rounded_tenth_mdb(float(most_db)), _LEAST_TENTH_MDB), _MOST_TENTH_MDB)
