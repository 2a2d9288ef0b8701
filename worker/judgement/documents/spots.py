"""Write down where a cable's joints were found, and read it back."""

from collections.abc import Iterable, Iterator, Sequence

from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FibreRangeDocument, SpotsDocument
from worker.judgement.traces.spots import RouteSpots, Spot, SpotGroup


def write_spots(spots: RouteSpots) -> list[SpotsDocument]:
    """Write the spots of a route, by the fibres that share them."""
    return [_group(spots.layout, group) for group in spots.groups]


def read_spots(layout: Layout, documents: Iterable[SpotsDocument]) -> RouteSpots:
    """Return the spots of a route, as they were written."""
    return RouteSpots.of_groups(layout, [_read_group(layout, document) for document in documents])


def _group(layout: Layout, group: SpotGroup) -> SpotsDocument:
    found = sorted(group.found.items())
    return {
        "fibres": list(_ranges(group.fibres)),
        "sites": [layout.design.sites[site].id for site, _ in found],
        "from_a_m": [spot.from_a_m for _, spot in found],
        "within_m": [spot.within_m for _, spot in found],
        "seen_on": [spot.fibres for _, spot in found],
    }


def _read_group(layout: Layout, document: SpotsDocument) -> SpotGroup:
    columns = (document["sites"], document["from_a_m"], document["within_m"], document["seen_on"])
    return SpotGroup(
        fibres=tuple([fibre for own in document["fibres"] for fibre in range(own["first"], own["last"] + 1)]),
        found={
            layout.site_index[site]: Spot(from_a_m, within_m, fibres)
            for site, from_a_m, within_m, fibres in zip(*columns, strict=True)
        },
    )


def _ranges(fibres: Sequence[int]) -> Iterator[FibreRangeDocument]:
    first = before = fibres[0]
    for fibre in fibres[1:]:
        if fibre != before + 1:
            yield {"first": first, "last": before}
            first = fibre
        before = fibre
    yield {"first": first, "last": before}
