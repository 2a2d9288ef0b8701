"""What noise allows along a trace: how much may be lost at a spot without the trace showing it.

An instrument that shows no event at a spot measured less than its threshold there, give or take noise. Noise follows
from the loss between port and spot where the instrument's dynamic range is stated; where nobody says a word about it,
silence counts only so far from the port as the criteria allow.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property, lru_cache
from itertools import accumulate, chain
from operator import add, mul, sub

from service.vocabulary.quantities import PDB_PER_MDB, to_last_place
from service.vocabulary.records.words import EventKind
from worker.judgement.glass import customary_glass
from worker.judgement.history.acts import Trace
from worker.judgement.history.events import TraceEvents
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
    def _behind_pdb(self) -> Sequence[int]:
        """The loss from the port to behind each event."""
        events = self._events
        glass_pdb = map(mul, _lengths_um(events), _mdb_per_km(self.trace, events.mdb_per_km))
        return [*accumulate(map(add, glass_pdb, _losses_pdb(events)))]

    @property
    def is_known(self) -> bool:
        """Tell whether the record lets noise be known."""
        return self._range_mdb is not None

    def loss_from_port_pdb(self, at_um: int) -> int:
        """Return the one-way loss from the instrument's port to a spot: of events before it, and of the fibre."""
        events_um = self._events.at_um
        index = bisect_left(events_um, at_um)
        from_um, before_pdb = (events_um[index - 1], self._behind_pdb[index - 1]) if index else (0, 0)
        stated = [*self._events.mdb_per_km[index : index + 1], *[end.mdb_per_km for end in self.trace.ends_shown[:1]]]
        [mdb_per_km] = _mdb_per_km(self.trace, stated[:1] or (None,))
        return before_pdb + (at_um - from_um) * mdb_per_km

    def at_mdb(self, at_um: int) -> int | None:
        """Return how far noise may move a loss that is read at a spot; None where nobody says."""
        if self._range_mdb is None:
            return None
        return _noise_mdb(self._range_mdb, self.loss_from_port_pdb(at_um))

    def at_events_mdb(self, events_um: Sequence[int]) -> Sequence[int]:
        """Return how far noise may move the losses of some of the trace's events, where it is known."""
        return [self._at_event_mdb[at_um] for at_um in events_um]

    @cached_property
    def _at_event_mdb(self) -> Mapping[int, int]:
        events, range_mdb = self._events, self._range_mdb or 0
        from_port_pdb = [*map(sub, self._behind_pdb, _losses_pdb(events))]
        # Of several at one distance the first, as nothing lies between them.
        first_last = zip(reversed(events.at_um), reversed(from_port_pdb), strict=True)
        return {at_um: _noise_mdb(range_mdb, one) for at_um, one in first_last}

    def unseen_mdb(self, at_um: int) -> int | None:
        """Return how much a place may lose, either way, without an event there; None where that is not known."""
        noise_mdb = self.at_mdb(at_um)
        if noise_mdb is not None:
            return self.trace.threshold_mdb + noise_mdb
        return self.trace.threshold_mdb if self.loss_from_port_pdb(at_um) <= self._within_pdb else None


def _noise_mdb(range_mdb: int, from_port_pdb: int) -> int:
    above_mdb = range_mdb - -(-from_port_pdb // PDB_PER_MDB)
    # Whatever events state: beyond these there is nothing but noise, or none.
    return _step_noise_mdb(min(max(above_mdb // _MDB_PER_CDB, _LEAST_ABOVE_CDB), _MOST_ABOVE_CDB))


def _lengths_um(events: TraceEvents) -> Iterator[int]:
    """Give how much fibre lies before each event, from the one before it or the port."""
    return map(sub, events.at_um, chain((0,), events.at_um))


def _losses_pdb(events: TraceEvents) -> Sequence[int]:
    """Return what each event loses, and what is planned for it where it does not say."""
    plain = EventKind.NON_REFLECTIVE
    return [
        (loss_mdb if loss_mdb is not None else _SPLICE_MDB if kind is plain else _CONNECTION_MDB) * PDB_PER_MDB
        for kind, loss_mdb in zip(events.kinds, events.losses_mdb, strict=True)
    ]


def _mdb_per_km(trace: Trace, stated: Iterable[int | None]) -> list[int]:
    """Return the fibre's loss before events, as they state it; no fibre has none, so such a figure says nothing."""
    customary = _customary_mdb_per_km(trace.wavelength_nm)
    return [customary if one is None or one <= 0 else one for one in stated]


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
