"""What noise allows along a trace: how much may be lost at a spot without the trace showing it.

An instrument that shows no event at a spot measured less than its threshold there, give or take noise. Noise follows
from the loss between port and spot where the instrument's dynamic range is stated; where nobody says a word about it,
silence counts only so far from the port as the criteria allow.
"""

from bisect import bisect_left
from collections.abc import Iterator
from functools import cached_property, lru_cache

from service.vocabulary.quantities import PDB_PER_MDB, to_last_place
from service.vocabulary.records.words import EventKind
from worker.judgement.glass import customary_glass
from worker.judgement.history.acts import Trace, TraceEvent
from worker.judgement.numbers.exact import TENTHS_PER_MDB, rounded_tenth_mdb
from worker.physics.noise import dynamic_range_db, step_noise_db

# What an event loses that states no loss: planning values for a splice and a connection, FOA.
_SPLICE_MDB, _CONNECTION_MDB = 150, 500
# The most loss that can be posted: more noise than that is no other answer.
_MOST_NOISE_MDB = 60_000
_LEAST_ABOVE_CDB, _MOST_ABOVE_CDB = -1000, 10_000
_MDB_PER_DB, _MDB_PER_CDB, _US_PER_S = 1000, 10, 1_000_000


class TraceNoise:
    """The noise along one trace, by spots on the trace; `unseen_within_db` is how far silence counts without it."""

    def __init__(self, trace: Trace, *, unseen_within_db: float) -> None:
        self.trace = trace
        self._within_pdb = to_last_place(unseen_within_db, places=3) * PDB_PER_MDB
        self._range_mdb = _range_mdb(trace)
        self._events = trace.events

    @cached_property
    def _at_um(self) -> list[int]:
        return [event.at_um for event in self._events]

    @cached_property
    def _behind_pdb(self) -> list[int]:
        return list(_losses_behind(self.trace))

    @property
    def is_known(self) -> bool:
        """Tell whether the record lets noise be known."""
        return self._range_mdb is not None

    def loss_from_port_pdb(self, at_um: int) -> int:
        """Return the one-way loss from the instrument's port to a spot: of events before it, and of the fibre."""
        index = bisect_left(self._at_um, at_um)
        from_um, before_pdb = (self._at_um[index - 1], self._behind_pdb[index - 1]) if index else (0, 0)
        own = [*self._events[index : index + 1], *self.trace.ends_shown[:1]]
        return before_pdb + (at_um - from_um) * _mdb_per_km(self.trace, own[0] if own else None)

    def at_mdb(self, at_um: int) -> int | None:
        """Return how far noise may move a loss that is read at a spot; None where nobody says."""
        if self._range_mdb is None:
            return None
        above_mdb = self._range_mdb - -(-self.loss_from_port_pdb(at_um) // PDB_PER_MDB)
        # Whatever events state: beyond these there is nothing but noise, or none.
        return _step_noise_mdb(min(max(above_mdb // _MDB_PER_CDB, _LEAST_ABOVE_CDB), _MOST_ABOVE_CDB))

    def unseen_mdb(self, at_um: int) -> int | None:
        """Return how much a place may lose, either way, without an event there; None where that is not known."""
        noise_mdb = self.at_mdb(at_um)
        if noise_mdb is not None:
            return self.trace.threshold_mdb + noise_mdb
        return self.trace.threshold_mdb if self.loss_from_port_pdb(at_um) <= self._within_pdb else None


def _losses_behind(trace: Trace) -> Iterator[int]:
    """Give the loss from the port to behind each event."""
    loss_pdb, reached_um = 0, 0
    for event in trace.events:
        loss_pdb += (event.at_um - reached_um) * _mdb_per_km(trace, event) + _loss_mdb(event) * PDB_PER_MDB
        reached_um = event.at_um
        yield loss_pdb


def _loss_mdb(event: TraceEvent) -> int:
    if event.loss_mdb is not None:
        return event.loss_mdb
    return _SPLICE_MDB if event.kind is EventKind.NON_REFLECTIVE else _CONNECTION_MDB


def _mdb_per_km(trace: Trace, event: TraceEvent | None) -> int:
    """Return the fibre's loss before an event, as it states it; no fibre has none, so such a figure says nothing."""
    if event is not None and event.mdb_per_km is not None and event.mdb_per_km > 0:
        return event.mdb_per_km
    return _customary_mdb_per_km(trace.wavelength_nm)


@lru_cache(maxsize=64)
def _customary_mdb_per_km(wavelength_nm: int) -> int:
    return to_last_place(customary_glass(wavelength_nm).attenuation_db_per_km, places=3)


def _range_mdb(trace: Trace) -> int | None:
    """Return the dynamic range at the trace's own pulse and averaging, if the record lets it be known."""
    stated, averaging_us = trace.dynamic_range, trace.outline.averaging_us
    if stated is None or not averaging_us:
        return None
    return _scaled_range_mdb(*stated, trace.pulse_ns, averaging_us)


@lru_cache(maxsize=1024)
def _scaled_range_mdb(
    range_mdb: int, stated_pulse_ns: int, stated_averaging_us: int, pulse_ns: int, averaging_us: int
) -> int:
    scaled_db = dynamic_range_db(
        stated_range_db=range_mdb / _MDB_PER_DB,
        stated_pulse_ns=stated_pulse_ns,
        stated_averaging_s=stated_averaging_us / _US_PER_S,
        pulse_ns=pulse_ns,
        averaging_s=averaging_us / _US_PER_S,
    )
    return rounded_tenth_mdb(float(scaled_db)) // TENTHS_PER_MDB


# By whole hundredths of a dB, rounded down: so few that they are worked out once.
@lru_cache(maxsize=1 << 14)
def _step_noise_mdb(above_noise_cdb: int) -> int:
    """Return the noise of a loss, rounded up, and never more than a loss can be."""
    noise_db = float(step_noise_db(above_noise_db=above_noise_cdb / 100))
    return min(-(-rounded_tenth_mdb(noise_db) // TENTHS_PER_MDB), _MOST_NOISE_MDB)
