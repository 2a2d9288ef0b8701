"""The events of a trace as columns: a large route has 150,000 of them, and most are only counted and added up."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, overload

from service.vocabulary.records.words import EventKind, Qualifier


class TraceEvent(NamedTuple):
    """A point on a trace, by its distance from the instrument's port; `number` tells it from others at one distance.

    `at_m` is the distance as it was posted, to be shown.
    """

    at_um: int
    number: int
    kind: EventKind
    loss_mdb: int | None
    reflectance_mdb: int | None
    qualifier: Qualifier
    mdb_per_km: int | None
    at_m: str


@dataclass(frozen=True, slots=True)
class TraceEvents(Sequence[TraceEvent]):
    """Events in order of distance, a column for each of their members; an event is made when it is asked for.

    What goes through all events of a route does it by columns: an event made for each took half the time of aligning.
    """

    at_um: Sequence[int] = ()
    numbers: Sequence[int] = ()
    kinds: Sequence[EventKind] = ()
    losses_mdb: Sequence[int | None] = ()
    reflectances_mdb: Sequence[int | None] = ()
    qualifiers: Sequence[Qualifier] = ()
    mdb_per_km: Sequence[int | None] = ()
    at_m: Sequence[str] = ()

    @classmethod
    def of(cls, events: Iterable[TraceEvent]) -> "TraceEvents":
        """Return events, which ascend, as columns."""
        return cls(*map(list, zip(*events, strict=True)))

    @property
    def _columns(self) -> tuple[Sequence[Any], ...]:
        return (
            self.at_um,
            self.numbers,
            self.kinds,
            self.losses_mdb,
            self.reflectances_mdb,
            self.qualifiers,
            self.mdb_per_km,
            self.at_m,
        )

    def __hash__(self) -> int:
        """Return the hash of where they lie, which tells nearly all traces apart."""
        return hash(tuple(self.at_um))

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.at_um)

    def __iter__(self) -> Iterator[TraceEvent]:
        """Give one after the other."""
        return map(TraceEvent._make, zip(*self._columns, strict=True))

    @overload
    def __getitem__(self, index: int) -> TraceEvent: ...

    @overload
    def __getitem__(self, index: slice) -> "TraceEvents": ...

    def __getitem__(self, index: int | slice) -> "TraceEvent | TraceEvents":
        """Return one, or those of a slice."""
        own = [column[index] for column in self._columns]
        return TraceEvents(*own) if isinstance(index, slice) else TraceEvent._make(own)

    def span(self, first_um: int, last_um: int) -> slice:
        """Return where those stand in the columns that lie between two spots or at them."""
        first = bisect_left(self.at_um, first_um)
        return slice(first, bisect_right(self.at_um, last_um, lo=first))

    def between(self, first_um: int, last_um: int) -> "TraceEvents":
        """Return those that lie between two spots or at them."""
        span = self.span(first_um, last_um)
        return self if span.stop - span.start == len(self.at_um) else self[span]
