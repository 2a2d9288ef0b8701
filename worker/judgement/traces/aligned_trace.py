"""One trace laid over the places of its fibre: what it shows at each, and how far it reaches, as values."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from service.vocabulary.findings.words import Reason
from worker.judgement.history.acts import Trace
from worker.judgement.history.events import TraceEvent
from worker.judgement.traces.distance_scale import DistanceScale
from worker.judgement.traces.doubts.crossed import Unlike
from worker.judgement.traces.echoes import Echo


class Reading(NamedTuple):
    """The loss that one trace shows at a place, by its `events`; without one it is what threshold and noise can hide.

    `noise_mdb` is how far noise may move a loss there, where that is known. `beside` are the first sites, by
    index, of the places whose loss may be in one event with its own.
    """

    trace: Trace
    low_mdb: int
    high_mdb: int
    events: tuple[TraceEvent, ...] = ()
    noise_mdb: int | None = None
    beside: frozenset[int] = frozenset()

    @property
    def shown_mdb(self) -> int:
        """What its events lose, or the most that it does not show."""
        if len(self.events) == 1:
            return self.events[0].loss_mdb or 0
        return sum(event.loss_mdb or 0 for event in self.events) if self.events else self.high_mdb

    @property
    def uncertainty_mdb(self) -> int:
        """How far the loss may be from what is shown, as far as anything is known of it."""
        return (self.noise_mdb or 0) if self.events else self.high_mdb

    @property
    def is_seen(self) -> bool:
        """Tell whether the trace has an event there."""
        return bool(self.events)

    def agrees_with(self, other: "Reading") -> bool:
        """Tell whether two readings of one place can both be right.

        A threshold is set where noise makes no more events, so no reading is off by more than its own, common practice;
        far from the port noise comes to that.
        """
        apart_mdb = max(self.low_mdb - other.high_mdb, other.low_mdb - self.high_mdb)
        return apart_mdb <= self._off_by_mdb + other._off_by_mdb

    @property
    def _off_by_mdb(self) -> int:
        return self.trace.threshold_mdb + (self.noise_mdb or 0)


class PlainReadings(NamedTuple):
    """What a trace that is clean alone shows of the places between its two ends, as columns from A on.

    An entry is None at an end of the route, in a dead zone, and where not just one event that states its loss is seen:
    there ask the trace's `readings`. All others say no more than this: a loss that is both bounds, noise, one event,
    which may state the fibre before it as the light goes.
    """

    sites: Sequence[int]
    losses_mdb: Sequence[int | None]
    noises_mdb: Sequence[int | None]
    at_m: Sequence[str | None]
    mdb_per_km: Sequence[int | None]

    def stated_by_site(self) -> dict[int, int | None]:
        """Return what the events that it has entries for state of the fibre before them, by site."""
        columns = zip(self.sites, self.losses_mdb, self.mdb_per_km, strict=True)
        return {site: stated for site, loss_mdb, stated in columns if loss_mdb is not None}


@dataclass(frozen=True, kw_only=True, slots=True)
class AlignedTrace:
    """What one trace shows by site index, or why nothing; its events on no place; why it does not prove the far end.

    `plain` are the same readings as columns, where the trace proves its whole length, is clean and is not shared.

    `is_clean` tells whether there is nothing about it that other traces could make clearer, `is_misfit` whether more of
    its events lie on no place than on one: then it is not known where they lie. `is_shared` tells whether some place's
    loss may be in another's event.
    """

    trace: Trace
    scale: DistanceScale
    readings: Mapping[int, Reading | Reason]
    unexpected: tuple[TraceEvent, ...]
    shortfall: Reason | None
    is_clean: bool
    is_misfit: bool = False
    is_shared: bool = False
    echoes: tuple[Echo, ...] = ()
    unlike: Unlike | None = None
    plain: PlainReadings | None = None

    def sites_seen(self) -> set[int]:
        """Return the sites at which the trace has an event."""
        return {site for site, shown in self.readings.items() if isinstance(shown, Reading) and shown.is_seen}

    def events_at(self, site: int) -> tuple[TraceEvent, ...]:
        """Return the events that the trace has at a site."""
        shown = self.readings.get(site)
        return shown.events if isinstance(shown, Reading) else ()

    def proving_nothing(self, reason: Reason) -> "AlignedTrace":
        """Return it as a trace that for some reason says nothing of any place."""
        return replace(self, readings=dict.fromkeys(self.readings, reason), shortfall=reason, plain=None)

    def without(self, sites: Iterable[int], reason: Reason) -> "AlignedTrace":
        """Return it as a trace whose readings at some sites prove nothing, for a reason."""
        read = [site for site in sites if isinstance(self.readings.get(site), Reading)]
        readings = {**self.readings, **dict.fromkeys(read, reason)}
        return replace(self, readings=readings, plain=None) if read else self
