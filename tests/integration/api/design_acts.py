"""What tests of designs do: propose, agree, refuse, look."""

from typing import Any

import httpx

from service.vocabulary.words import TokenKind
from tests.factories import Body, make_design, make_segment, on_other_cable
from tests.world import World

CONTRACTOR, ENGINEER = TokenKind.CONTRACTOR, TokenKind.ENGINEER


def longer(cable_length_m: float = 1500.0, **changes: Any) -> Body:
    """Return the factories' route with a longer first section."""
    design = make_design(**changes)
    design["sections"][0]["cable_length_m"] = cable_length_m
    return design


def without_c1() -> Body:
    """Return the factories' route with the cable drawn through where C1 was."""
    design = make_design()
    sites = [site for site in design["sites"] if site["id"] != "C1"]
    sections = [{**design["sections"][0], "cable_length_m": 2000.0}, design["sections"][2]]
    segment = make_segment(sites=["A", "C2", "B"], sections=["S1", "S3"])
    return {**design, "sites": sites, "sections": sections, "segments": [segment]}


def design_of(world: World) -> Any:
    """Return the design that the world's route is judged by."""
    return world.ask(CONTRACTOR, "GET", _path(world))


def revision_of(world: World, revision: int) -> Any:
    """Return a design revision as it is now."""
    return world.ask(ENGINEER, "GET", f"{_path(world)}/{revision}")


def propose(world: World, design: Body, *, etag: str | None) -> httpx.Response:
    """Propose a design, having seen a state of it or none."""
    headers = {} if etag is None else {"If-Match": etag}
    return world.call(CONTRACTOR, "PUT", _path(world), json=design, headers=headers)


def agree(world: World, revision: int) -> httpx.Response:
    """Agree to a revision as the engineer."""
    return world.call(ENGINEER, "PUT", f"{_path(world)}/agreement", json={"revision": revision})


def refuse(world: World, revision: int, reason: str = "Not as it was laid.") -> httpx.Response:
    """Refuse a revision as the engineer."""
    return world.call(ENGINEER, "PUT", f"{_path(world)}/refusal", json={"revision": revision, "reason": reason})


def effects_of(world: World, design: Body) -> Any:
    """Return what a design would unsettle."""
    return world.ask(CONTRACTOR, "POST", f"{_path(world)}/effects", json=design)


def describe_unagreed(world: World, **changes: Any) -> Body:
    """Let the world's route be another, bound to the same criteria, whose design nobody has agreed to."""
    design = on_other_cable(make_design(**changes), changes.get("code", "R2"))
    path = f"/v1/projects/{world.project_id}/routes"
    world.route_id = world.ask(CONTRACTOR, "POST", path, json=design)["id"]
    binding = f"/v1/routes/{world.route_id}/criteria"
    world.ask(ENGINEER, "PUT", binding, json={"version": 1})
    world.ask(CONTRACTOR, "PUT", f"{binding}/acknowledgement", json={"version": 1})
    world.drain()
    return design


def _path(world: World) -> str:
    return f"/v1/routes/{world.route_id}/design"
