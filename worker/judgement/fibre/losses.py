"""The losses of a fibre's places at one wavelength: each made when it is asked for, the plain ones as columns too."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import NamedTuple

from worker.judgement.fibre.bidirectional import BidirectionalLoss
from worker.judgement.traces.aligned_trace import PlainReadings
from worker.judgement.traces.places import Place
from worker.judgement.traces.readings import OneWayLoss

# Half of 0.001 dB in 0.0001 dB.
_HALF_IN_TENTHS = 5


class PlaceLoss(NamedTuple):
    """The loss of a place: in each direction, and from both."""

    forward: OneWayLoss
    backward: OneWayLoss
    both: BidirectionalLoss


class PlainLosses(NamedTuple):
    """Losses that need no second look, as columns by the index of the place: one trace each way, one event on each.

    A mean is None where this is not so, or the two readings may contradict each other: there ask the general way.
    """

    means_tenth_mdb: Sequence[int | None]
    there: PlainReadings
    back: PlainReadings
    there_record: str
    back_record: str


class PlaceLosses(Mapping[int, PlaceLoss]):
    """The losses of all places by site index; `plain` are those of them that are known as columns too."""

    def __init__(
        self, places: Sequence[Place], make: Callable[[Place], PlaceLoss], *, plain: PlainLosses | None = None
    ) -> None:
        self.plain = plain
        self._places = {place.site_index: place for place in places}
        self._make = make
        self._made: dict[int, PlaceLoss] = {}

    def __getitem__(self, site_index: int) -> PlaceLoss:
        """Return the loss of the place at a site."""
        made = self._made.get(site_index)
        if made is None:
            made = self._made[site_index] = self._make(self._places[site_index])
        return made

    def exact_means_tenth_mdb(self) -> list[int | None]:
        """Return the mean of each place from both directions in order, where it is known exactly."""
        plain = [None] * len(self) if self.plain is None else self.plain.means_tenth_mdb
        return [
            self._exact_mean(site) if mean is None else mean for site, mean in zip(self._places, plain, strict=True)
        ]

    def _exact_mean(self, site_index: int) -> int | None:
        both = self[site_index].both
        return both.low_tenth_mdb if both.reason is None and both.low_tenth_mdb == both.high_tenth_mdb else None

    def __iter__(self) -> Iterator[int]:
        """Give the sites that have a place."""
        return iter(self._places)

    def __len__(self) -> int:
        """Return how many places there are."""
        return len(self._places)


def plain_losses(
    there: PlainReadings,
    back: PlainReadings,
    *,
    records: tuple[str, str],
    within_mdb: int,
    least_tenth_mdb: int,
    without: Collection[int],
) -> PlainLosses:
    """Return the plain losses of the same sites by both directions, but for some sites.

    The two readings may be so far apart, and their mean no less.
    """
    means = [
        mean
        if one is not None
        and other is not None
        and -within_mdb <= one - other <= within_mdb
        and (mean := (one + other) * _HALF_IN_TENTHS) >= least_tenth_mdb
        else None
        for one, other in zip(there.losses_mdb, back.losses_mdb, strict=True)
    ]
    if without:
        means = [None if site in without else mean for site, mean in zip(there.sites, means, strict=True)]
    return PlainLosses(means, there, back, *records)
