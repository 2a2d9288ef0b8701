"""A route in three segments, built one after the other: what is recorded of each, and what the parties say."""

from collections.abc import Sequence
from typing import Any

from service.vocabulary.words import TokenKind
from tests.factories import (
    Body,
    in_three_segments,
    link_criterion,
    make_closure_state,
    make_criteria,
    make_otdr,
    make_splice,
    required_test_criterion,
    splice_criterion,
    stray_criterion,
    termination_criterion,
)
from tests.world import World, propose_design

FIBRES = 2
# In which month each segment is built, where it ends, and where it is spliced: the closure where it begins is its own.
MONTH = {"SEG1": 3, "SEG2": 4, "SEG3": 5}
ENDS = {"SEG1": ("A", "C2"), "SEG2": ("C2", "C4"), "SEG3": ("C4", "B")}
SPLICED = {"SEG1": ("A", "C1"), "SEG2": ("C2", "C3"), "SEG3": ("C4", "B")}
DESIGN = in_three_segments(fibres=FIBRES)
_BARE = {"C2", "C4"}


def criteria(**changes: Any) -> Body:
    """Return what is agreed: each segment alone, traces as far as it is joined, and a budget from end to end."""
    asked = [
        splice_criterion(),
        termination_criterion(),
        stray_criterion(),
        required_test_criterion(over="joined"),
        link_criterion(),
    ]
    return make_criteria(criteria=asked, segments_proven="alone", **changes)


def as_far_as(segment: str) -> Body:
    """Return the design as far as a segment: where it ends, a closure is not built yet."""
    number = list(MONTH).index(segment) + 1
    last = ENDS[segment][1]
    index = [site["id"] for site in DESIGN["sites"]].index(last)
    segments = [dict(one) for one in DESIGN["segments"][:number]]
    if number < len(MONTH):
        segments[-1]["sites"] = [*segments[-1]["sites"], last]
    return {
        **DESIGN,
        "sites": DESIGN["sites"][: index + 1],
        "sections": DESIGN["sections"][:index],
        "segments": segments,
    }


def at(segment: str, day: int) -> str:
    """Return a time in the month in which a segment is built."""
    return f"2025-{MONTH[segment]:02d}-{day:02d}T08:00:00Z"


def spliced(segment: str) -> list[Body]:
    """Return a segment's splices, the closure where it begins opened for them."""
    opened = [lid(site, "opened", at(segment, 1)) for site in SPLICED[segment] if site in _BARE]
    made = [
        make_splice(site=site, fibres=[fibre], made_at=at(segment, 3))
        for site in SPLICED[segment]
        for fibre in range(1, FIBRES + 1)
    ]
    return [*opened, *made]


def sealed(segment: str, *, without: Sequence[str] = ()) -> list[Body]:
    """Return a segment's closures sealed after its splices."""
    closures = [site for site in SPLICED[segment] if site.startswith("C") and site not in without]
    return [lid(site, "sealed", at(segment, 10)) for site in closures]


def lid(site: str, state: str, made_at: str) -> Body:
    """Return a closure opened or sealed at a time."""
    return make_closure_state(site=site, state=state, made_at=made_at)


def traces(near: str, far: str, made_at: str, **changes: Any) -> list[Body]:
    """Return both traces of each fibre between two sites; at a bare fibre no cord is connected."""
    return [
        make_otdr(
            from_site=start,
            to_site=end,
            design=DESIGN,
            fibre=fibre,
            made_at=made_at,
            launch_m=0 if start in _BARE else None,
            receive_m=0 if end in _BARE else None,
            **changes,
        )
        for fibre in range(1, FIBRES + 1)
        for start, end in ((near, far), (far, near))
    ]


def extend(world: World, segment: str) -> None:
    """Have the design go on as far as a segment, proposed by the contractor and agreed to by the engineer."""
    route = propose_design(world, as_far_as(segment))
    agreement = f"/v1/routes/{world.route_id}/design/agreement"
    revision = route["proposed_design_revision"]
    world.ask(TokenKind.ENGINEER, "PUT", agreement, json={"revision": revision})
    world.drain()


def standing(world: World) -> dict[str, str]:
    """Return where each segment is."""
    return {one["id"]: one["status"] for one in world.status()["segments"]}


def segment_of(world: World, segment: str) -> Any:
    """Return all that the status says of a segment."""
    [found] = [one for one in world.status()["segments"] if one["id"] == segment]
    return found


def awaited(world: World) -> set[tuple[str | None, str]]:
    """Return what is awaited of the whole link, by segment and criterion."""
    return {
        (one["segment"], one["criterion"]) for one in world.status()["missing"] if one["reason"] == "link_not_joined"
    }


def notices(world: World) -> list[tuple[str, int, Any]]:
    """Return what billing has heard: the segment, its acceptance's number, and its splices."""
    path = f"/v1/projects/{world.project_id}/notices"
    data = [one["data"] for one in world.ask(TokenKind.BILLING, "GET", path)["notices"]]
    return [(one["segment_id"], one["acceptance_number"], one["splices"]) for one in data]


def accept(world: World, segment: str) -> Any:
    """Submit one segment, have its package made, and accept it; return the package."""
    submitted = world.submit([segment])
    assert submitted.status_code == 202, submitted.text
    world.drain()
    path = f"/v1/packages/{segment_of(world, segment)['package_id']}"
    package = world.ask(TokenKind.ENGINEER, "GET", path)
    form = {"package_sha256": package["certified_sha256"], "segments": {segment: "accepted"}}
    seen = {"If-Match": f'"{package["current_sha256"]}"'}
    world.ask(TokenKind.ENGINEER, "POST", f"{path}/decision", json=form, headers=seen)
    world.drain()
    return package
