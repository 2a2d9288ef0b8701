"""What an instrument lists of the spots that a trace runs over: what its pulse cannot tell apart becomes one event."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

# Light goes there and back: 1 ns of pulse covers 0.102 m of fibre at a group index of 1.468.
M_PER_NS_OF_PULSE = 0.102
# Behind a reflection the attenuation dead zone is several pulses long, common practice.
DEAD_ZONE_PULSES = 3
# A step is told from noise where it is three times as large, common practice.
STANDS_OUT = 3
# No reading is finer, and none of a fusion splice is seen above the noise of reflections.
_LOSS_PLACES = 3


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """A point on a trace by its distance from the port; `site` is the index of the site whose joints are there.

    It lies at `true_m` where an instrument puts it elsewhere: what merges does so where it lies. `noise_db` is the
    noise of the trace there: what does not stand out of it is not listed.
    """

    at_m: float
    loss_db: float
    reflectance_db: float | None = None
    site: int | None = None
    noise_db: float = 0.0
    true_m: float | None = None

    @property
    def lies_m(self) -> float:
        """Where it lies."""
        return self.at_m if self.true_m is None else self.true_m


@dataclass(frozen=True, kw_only=True, slots=True)
class Listed:
    """One event on a trace, and the sites whose joints made it: none where it is a bend or an echo.

    What made it lies between `first_m` and `last_m`.
    """

    distance_m: float
    loss_db: float
    reflectance_db: float | None
    sites: frozenset[int]
    is_alone: bool
    first_m: float
    last_m: float


def list_events(
    spots: Iterable[Spot], *, pulse_ns: int, threshold_db: float, merge_pulses: float = 1.0
) -> list[Listed]:
    """List spots in order of distance as events: those that reflect, and those whose loss reaches the threshold.

    Losses nearer to each other than `merge_pulses` are one event; one that is lost in the noise is none.
    """
    ordered = sorted(spots, key=lambda spot: spot.lies_m)
    pulse_m = pulse_ns * M_PER_NS_OF_PULSE
    return [
        _list(own)
        for own in _merged(ordered, pulse_m=pulse_m, apart_m=merge_pulses * pulse_m)
        if _stands_out(own, threshold_db=threshold_db)
    ]


def _stands_out(own: Sequence[Spot], *, threshold_db: float) -> bool:
    if any(spot.reflectance_db is not None for spot in own):
        return True
    least_db = max(threshold_db, STANDS_OUT * max(spot.noise_db for spot in own))
    return abs(round(sum(spot.loss_db for spot in own), _LOSS_PLACES)) >= least_db


def _merged(ordered: Sequence[Spot], *, pulse_m: float, apart_m: float) -> Iterator[list[Spot]]:
    own: list[Spot] = []
    blind_to_m = 0.0
    for spot in ordered:
        if own and spot.lies_m > blind_to_m:
            yield own
            own = []
        own.append(spot)
        reach_m = apart_m if spot.reflectance_db is None else max(apart_m, DEAD_ZONE_PULSES * pulse_m)
        blind_to_m = max(blind_to_m, spot.lies_m + reach_m)
    if own:
        yield own


def _list(own: Sequence[Spot]) -> Listed:
    reflecting = [spot for spot in own if spot.reflectance_db is not None]
    reflectances = [spot.reflectance_db for spot in reflecting if spot.reflectance_db is not None]
    return Listed(
        # A peak's rise is sharp; a loss just before it is half a step in its shadow.
        distance_m=round((reflecting or own)[0].at_m, 2),
        loss_db=round(sum(spot.loss_db for spot in own), _LOSS_PLACES) + 0.0,
        reflectance_db=max(reflectances) if reflectances else None,
        sites=frozenset(spot.site for spot in own if spot.site is not None),
        is_alone=len(own) == 1,
        first_m=own[0].lies_m,
        last_m=own[-1].lies_m,
    )
