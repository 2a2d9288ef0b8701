"""Where a cable's joints really lie, by all its fibres together: one spot for each site and tube.

A cable's fibres share their closures. Each is laid out by its own length, so that what is left between them is the
slack in trays and what noise does. A spot follows from the design and from what counting traces show, in any order.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from statistics import median_low

from service.vocabulary.criteria.criteria import Placing
from service.vocabulary.design.layout import Layout
from service.vocabulary.quantities import to_um
from worker.judgement.route.clusters import Cluster, find_clusters, least_support
from worker.judgement.route.matching import Reaches, Unit, match_units
from worker.judgement.traces.places import blur_um, pulse_um_of, surely_merged_um
from worker.judgement.traces.sightings import SpanSightings
from worker.judgement.traces.spots import SPOT_STEP_M, RouteSpots, Spot, SpotGroup

# Fewer fibres may have a fault in common: what they show is then as likely a bend as a closure.
FEWEST_FIBRES = 3
# Six times the middle distance from a spot is four standard deviations of a normal scatter.
_SPREADS = 6
_CM = 100

_Span = tuple[int, int]


def locate_sites(layout: Layout, placing: Placing, sightings: Mapping[int, Sequence[SpanSightings]]) -> RouteSpots:
    """Return where the sites of a route lie, by what each of its fibres shows; their order does not matter."""
    by_path: dict[tuple[int, ...], dict[int, Sequence[SpanSightings]]] = defaultdict(dict)
    for fibre in sorted(sightings):
        if sightings[fibre]:
            by_path[layout.tubes_of(fibre)][fibre] = sightings[fibre]
    large = [own for own in by_path.values() if len(own) >= FEWEST_FIBRES]
    small = {fibre: one for own in by_path.values() if len(own) < FEWEST_FIBRES for fibre, one in own.items()}
    groups = [SpotGroup(tuple(own), _locate(layout, placing, own)) for own in large]
    if small:
        # The tubes of a cable differ little: what most of them show stands in for one with too few fibres of its own.
        shared = _middle(groups) if groups else _locate(layout, placing, small)
        groups.append(SpotGroup(tuple(small), shared))
    return RouteSpots.of_groups(layout, [group for group in groups if group.found])


def _middle(groups: Sequence[SpotGroup]) -> dict[int, Spot]:
    by_site: dict[int, list[Spot]] = defaultdict(list)
    for group in groups:
        for site, spot in group.found.items():
            by_site[site].append(spot)
    middle: dict[int, Spot] = {}
    for site, own in sorted(by_site.items()):
        at_m = median_low([spot.from_a_m for spot in own])
        off_m = max(abs(spot.from_a_m - at_m) for spot in own)
        middle[site] = Spot(at_m, max(spot.within_m for spot in own) + off_m, fibres=0)
    return middle


def _locate(layout: Layout, placing: Placing, own: Mapping[int, Sequence[SpanSightings]]) -> dict[int, Spot]:
    """Return the spots of sites that some fibres show, each by the span that most of them were tested over."""
    by_span: dict[_Span, dict[int, SpanSightings]] = defaultdict(dict)
    for fibre, spans in own.items():
        for one in spans:
            by_span[one.low_index, one.high_index][fibre] = one
    found: dict[int, Spot] = {}
    for span in sorted(by_span, key=lambda span: (len(by_span[span]), span[1] - span[0], span)):
        fibres = by_span[span]
        if len(fibres) >= FEWEST_FIBRES:
            found |= _locate_in_span(layout, placing, span, fibres)
    return {site: found[site] for site in sorted(found)} if _ascends(found) else {}


def _ascends(found: Mapping[int, Spot]) -> bool:
    """Tell whether spots lie in the order of their sites; those of different spans need not."""
    at_m = [found[site].from_a_m for site in sorted(found)]
    return at_m == sorted(at_m)


def _locate_in_span(layout: Layout, placing: Placing, span: _Span, own: Mapping[int, SpanSightings]) -> dict[int, Spot]:
    low, high = span
    joined = _fibres_joined(layout, span, own)
    if not joined:
        return {}
    pulse_ns, least = max(one.pulse_ns for one in own.values()), least_support(min(fibres for _, fibres in joined))
    gap_cm = max(to_um(placing.tolerance_m) // 2, blur_um(pulse_ns)) // 10_000
    clusters = [one for one in find_clusters(own, gap_cm=gap_cm) if one.fibres >= least]
    units = _units(layout, joined, pulse_ns=pulse_ns)
    reaches = Reaches(
        off_spot_cm=round(placing.off_spot_m * _CM),
        tolerance_cm=round(placing.tolerance_m * _CM),
        ends_cm=(layout.site_offsets_um[low] // 10_000, layout.site_offsets_um[high] // 10_000),
        fibres=len(own),
        hidden_cm=round(placing.tolerance_m * _CM),
        merged_cm=round(pulse_um_of(pulse_ns) * placing.parted_pulses) // 10_000,
    )
    matched = match_units(units, [one for one in clusters if not one.is_bend], reaches)
    spread_cm = median_low([cluster.spread_cm for cluster in clusters]) if clusters else 0
    least_cm = round(placing.tolerance_m * _CM) // 2
    # Beside the span's ends only those fibres tell on which it is far enough from there to be sighted.
    first_cm, last_cm = reaches.ends_cm[0] + 3 * least_cm, reaches.ends_cm[1] - 3 * least_cm

    def within_m(cluster: Cluster, blurred_cm: int) -> int:
        half_told_cm = 0 if first_cm < cluster.at_cm < last_cm else least_cm
        scattered_cm = max(least_cm, _SPREADS * max(spread_cm, cluster.spread_cm))
        return _up_to_step(scattered_cm + half_told_cm + blurred_cm)

    return {
        site: Spot(_to_step(at_cm), within_m(cluster, blurred_cm), cluster.fibres)
        for unit, taken in matched
        for site, at_cm, cluster, blurred_cm in _sites_of(unit, taken, least_cm=least_cm)
    }


def _fibres_joined(layout: Layout, span: _Span, own: Iterable[int]) -> tuple[tuple[int, int], ...]:
    """Return the sites inside a span at which fibres have a joint, in order, with how many of them have."""
    joined: Counter[int] = Counter()
    for first, fibres in Counter(map(layout.first_alike, own)).items():
        for site in {joint.site_index for joint in layout.joints_of(first)}:
            if span[0] < site < span[1]:
                joined[site] += fibres
    return tuple(sorted(joined.items()))


# Tube after tube has its joints at the same sites.
@lru_cache(maxsize=16)
def _units(layout: Layout, joined: tuple[tuple[int, int], ...], *, pulse_ns: int) -> list[Unit]:
    """Return the sites one by one, or together where a pulse certainly shows several as one event."""
    units: list[list[int]] = []
    for site, _ in joined:
        at_um = layout.site_offsets_um[site]
        if units and at_um - layout.site_offsets_um[units[-1][-1]] <= surely_merged_um(pulse_ns):
            units[-1].append(site)
        else:
            units.append([site])
    fibres = dict(joined)
    return [
        Unit(
            tuple(own),
            tuple(layout.site_offsets_um[site] // 10_000 for site in own),
            max(fibres[site] for site in own),
        )
        for own in units
    ]


def _sites_of(unit: Unit, taken: Sequence[Cluster], *, least_cm: int) -> Iterator[tuple[int, int, Cluster, int]]:
    """Give each site of a unit with where it lies, at its own cluster or moved as the unit is, and how blurred."""
    if len(taken) == len(unit.sites):
        for site, cluster in zip(unit.sites, taken, strict=True):
            yield site, cluster.at_cm, cluster, 0
        return
    # Which of them it is that shows nobody knows, for the light meets another first from each end; and how far they are
    # from each other only the design tells, as far as marks and coils are what it says.
    blurred_cm = (unit.at_cm[-1] - unit.at_cm[0]) // 2 + least_cm
    moved_cm = (taken[0].at_cm + taken[-1].at_cm - unit.at_cm[0] - unit.at_cm[-1]) // 2
    for site, at_cm in zip(unit.sites, unit.at_cm, strict=True):
        yield site, at_cm + moved_cm, taken[0], blurred_cm


def _to_step(at_cm: int) -> int:
    step_cm = SPOT_STEP_M * _CM
    return (at_cm + step_cm // 2) // step_cm * SPOT_STEP_M


def _up_to_step(within_cm: int) -> int:
    return -(-within_cm // (SPOT_STEP_M * _CM)) * SPOT_STEP_M
