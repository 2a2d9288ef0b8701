"""Routes: sites, sections, segments, and the designs they make."""

from collections.abc import Sequence
from itertools import accumulate
from typing import Any

from tests.bodies import Body

# The sites of the usual route, in order.
SITES = ("A", "C1", "C2", "B")
_UM_PER_M = 1_000_000


def make_site(id_: str, **changes: Any) -> Body:
    """Return a splice closure."""
    return {"id": id_, "name": f"Closure {id_}", "kind": "splice_closure", **changes}


def make_terminal(id_: str, **changes: Any) -> Body:
    """Return a terminal whose fibres end on pigtails."""
    return make_site(id_, **{"name": f"Terminal {id_}", "kind": "terminal", "termination": "pigtail", **changes})


def make_section(id_: str, **changes: Any) -> Body:
    """Return 1000 m of cable without excess."""
    return {"id": id_, "cable_length_m": 1000.0, "fibre_type": "G.652.D", **changes}


def make_sections(cable_lengths_m: Sequence[float], **changes: Any) -> list[Body]:
    """Return sections in order, all changed alike."""
    return [make_section(f"S{n}", cable_length_m=length_m, **changes) for n, length_m in enumerate(cable_lengths_m, 1)]


def make_segment(
    id_: str = "SEG1", *, sites: Sequence[str], sections: Sequence[str], fibre_count: int = 12, **changes: Any
) -> Body:
    """Return what is accepted and paid for together, all fibres of it."""
    return {
        "id": id_,
        "name": "Whole route",
        "billing_item": "ITEM-1",
        "sites": list(sites),
        "sections": list(sections),
        "fibres": [{"first": 1, "last": fibre_count}],
        **changes,
    }


def make_design(*, closures: int = 2, fibre_count: int = 12, termination: str = "pigtail", **changes: Any) -> Body:
    """Return a route of one segment, which holds whatever sites, sections and fibres there are."""
    names = [f"C{number}" for number in range(1, closures + 1)]
    design: Body = {
        "code": "R1",
        "name": "Route one",
        "fibre_count": fibre_count,
        "sites": [
            make_terminal("A", termination=termination),
            *map(make_site, names),
            make_terminal("B", termination=termination),
        ],
        "sections": make_sections([1000.0] * (closures + 1)),
        **changes,
    }
    sites, sections = ([one["id"] for one in design[part]] for part in ("sites", "sections"))
    return {"segments": [make_segment(sites=sites, sections=sections, fibre_count=fibre_count)], **design}


def on_other_cable(design: Body, code: str) -> Body:
    """Return a design as another route's, through the same sites on cable of its own."""
    return {
        **design,
        "code": code,
        "sections": [{**one, "id": f"{code}.{one['id']}"} for one in design["sections"]],
        "segments": [
            {**one, "sections": [f"{code}.{section}" for section in one["sections"]]} for one in design["segments"]
        ],
    }


def cord_ended(*, fibres: int = 12, closures: int = 2) -> Body:
    """Return a route whose fibres end on factory cords: no splice but those in closures, each pair alone."""
    return make_design(closures=closures, fibre_count=fibres, termination="factory_cord")


def with_site(site: Body, *, at: int, **changes: Any) -> Body:
    """Return the usual route, or one changed so, with another site in one place."""
    design = make_design(**changes)
    design["sites"][at] = site
    design["segments"][0]["sites"][at] = site["id"]
    return design


def in_two_segments(**changes: Any) -> Body:
    """Return the usual route in two segments: the first up to C1, and the second changed so."""
    first = make_segment(sites=["A", "C1"], sections=["S1"])
    second = make_segment("SEG2", sites=["C2", "B"], sections=["S2", "S3"], **{"billing_item": "ITEM-2", **changes})
    return make_design(segments=[first, second])


def in_three_segments(*, fibres: int = 12, **changes: Any) -> Body:
    """Return a route of four closures in three segments; where one ends in a closure, that belongs to the next."""
    runs = (("SEG1", ["A", "C1"], ["S1", "S2"]), ("SEG2", ["C2", "C3"], ["S3", "S4"]), ("SEG3", ["C4", "B"], ["S5"]))
    segments = [
        make_segment(
            id_, sites=sites, sections=sections, fibre_count=fibres, billing_item=f"ITEM-{number}", name=f"Lot {number}"
        )
        for number, (id_, sites, sections) in enumerate(runs, 1)
    ]
    return make_design(closures=4, fibre_count=fibres, segments=segments, **changes)


def site_offsets_m(design: Body) -> dict[str, float]:
    """Return the fibre distance of each site from the first: cable and slack, longer by the excess."""
    lengths_um = (
        (round(100 * section["cable_length_m"]) + round(100 * section.get("slack_m", 0)))
        * (10_000 + round(100 * section.get("excess_percent", 0)))
        for section in design["sections"]
    )
    offsets_um = accumulate(lengths_um, initial=0)
    return {site["id"]: um / _UM_PER_M for site, um in zip(design["sites"], offsets_um, strict=True)}
