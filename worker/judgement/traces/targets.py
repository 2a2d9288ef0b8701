"""Where the events of a fibre's places are looked for, one by one and as columns."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, overload


class Target(NamedTuple):
    """Where the event of a place is looked for, or those of places that one dead zone covers, from first to last.

    It lies `within_um` of there, or within the trace's tolerance where nothing is known. A group takes several events.
    """

    low_um: int
    high_um: int
    within_um: int | None
    is_group: bool

    def reaching(self, within_um: int) -> "Target":
        """Return the target with another reach."""
        return self._replace(within_um=within_um)

    def off_um(self, event_um: int) -> int:
        """Return how far off an event lies; inside a dead zone it is not off at all."""
        return max(self.low_um - event_um, event_um - self.high_um, 0)


@dataclass(frozen=True, slots=True)
class Targets(Sequence[Target]):
    """Targets in order, a column for each of their members; where all are spots both ends are one column."""

    low_um: Sequence[int]
    high_um: Sequence[int]
    within_um: tuple[int | None, ...]
    is_group: Sequence[bool]

    @classmethod
    def of(cls, targets: Sequence[Target]) -> "Targets":
        """Return targets as columns."""
        low_um, high_um = [one.low_um for one in targets], [one.high_um for one in targets]
        return cls(
            low_um=low_um,
            high_um=low_um if low_um == high_um else high_um,
            within_um=tuple([one.within_um for one in targets]),
            is_group=[one.is_group for one in targets],
        )

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.low_um)

    def __iter__(self) -> Iterator[Target]:
        """Give one after the other."""
        return map(Target._make, zip(self.low_um, self.high_um, self.within_um, self.is_group, strict=True))

    @overload
    def __getitem__(self, index: int) -> Target: ...

    @overload
    def __getitem__(self, index: slice) -> "Targets": ...

    def __getitem__(self, index: int | slice) -> "Target | Targets":
        """Return one, or those of a slice."""
        own: list[Any] = [column[index] for column in (self.low_um, self.high_um, self.within_um, self.is_group)]
        return Targets(*own) if isinstance(index, slice) else Target._make(own)
