"""What an instrument lists of the spots that a trace runs over: what its pulse cannot tell apart becomes one event."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

# Light goes there and back: 1 ns of pulse covers 0.102 m of fibre at a group index of 1.468.
M_PER_NS_OF_PULSE = 0.102
# Behind a reflection the attenuation dead zone is several pulses long, common practice.
DEAD_ZONE_PULSES = 3
# No reading is finer, and none of a fusion splice is seen above the noise of reflections.
_LOSS_PLACES = 3


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """A point on a trace by its distance from the port; `site` is the index of the site whose joints are there."""

    at_m: float
    loss_db: float
    reflectance_db: float | None = None
    site: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Listed:
    """One event on a trace, and the sites whose joints made it: none where it is a bend or an echo."""

    distance_m: float
    loss_db: float
    reflectance_db: float | None
    sites: frozenset[int]
    is_alone: bool


def list_events(spots: Iterable[Spot], *, pulse_ns: int, threshold_db: float) -> list[Listed]:
    """List spots in order of distance as events: those that reflect, and those whose loss reaches the threshold."""
    ordered = sorted(spots, key=lambda spot: spot.at_m)
    listed = (_list(own) for own in _merged(ordered, pulse_m=pulse_ns * M_PER_NS_OF_PULSE))
    return [one for one in listed if one.reflectance_db is not None or abs(one.loss_db) >= threshold_db]


def _merged(ordered: Sequence[Spot], *, pulse_m: float) -> Iterator[list[Spot]]:
    own: list[Spot] = []
    blind_to_m = 0.0
    for spot in ordered:
        if own and spot.at_m > blind_to_m:
            yield own
            own = []
        own.append(spot)
        reach_m = pulse_m if spot.reflectance_db is None else DEAD_ZONE_PULSES * pulse_m
        blind_to_m = max(blind_to_m, spot.at_m + reach_m)
    if own:
        yield own


def _list(own: Sequence[Spot]) -> Listed:
    reflectances = [spot.reflectance_db for spot in own if spot.reflectance_db is not None]
    return Listed(
        distance_m=round(own[0].at_m, 2),
        loss_db=round(sum(spot.loss_db for spot in own), _LOSS_PLACES) + 0.0,
        reflectance_db=max(reflectances) if reflectances else None,
        sites=frozenset(spot.site for spot in own if spot.site is not None),
        is_alone=len(own) == 1,
    )
