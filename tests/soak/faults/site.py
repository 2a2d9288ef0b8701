"""The project of a run: its parties, and routes described and bound to criteria before anything fails."""

from dataclasses import dataclass, field
from math import ceil
from typing import Any
from uuid import UUID

import httpx

from service.vocabulary.words import TokenKind
from tests.benchmarks.material import renewed
from tests.bodies.routes import on_other_cable
from tests.simulator.large import LargeRoute, simulate_large
from tests.soak.faults.plan import CLOSURES, CREWS, FIBRES, Fault, Plan
from worker.demo.parties import Parties, open_project

BURST_ROUTES = 10


@dataclass(kw_only=True)
class SoakRoute:
    """A route, and its records in the order in which they are posted."""

    id: str
    records: list[Any]
    # By id, the content of every record that was answered 2xx.
    answered: dict[UUID, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Site:
    """The project, the routes of each crew, and those for bursts."""

    tokens: dict[TokenKind, str]
    project_id: str
    crews: tuple[tuple[SoakRoute, ...], ...]
    bursts: tuple[SoakRoute, ...]

    @property
    def routes(self) -> list[SoakRoute]:
        """Return all routes."""
        return [*(route for crew in self.crews for route in crew), *self.bursts]


def open_site(http: httpx.Client, administrator: str, plan: Plan) -> Site:
    """Open the project and describe as many routes as the records need."""
    simulated = simulate_large(fibres=FIBRES, closures=CLOSURES, seed=7)
    parties = open_project(http, administrator)
    path = f"/v1/projects/{parties.project_id}/criteria"
    version: int = parties.ask(TokenKind.ENGINEER, "POST", path, json=simulated.criteria)["version"]
    routes_each = ceil(plan.records / len(list(simulated.records())) / CREWS)
    names = [[f"crew{crew}-{number}" for number in range(routes_each)] for crew in range(CREWS)]
    return Site(
        tokens=parties.tokens,
        project_id=parties.project_id,
        crews=tuple(tuple(_describe(parties, simulated, name, version) for name in crew) for crew in names),
        bursts=tuple(_describe(parties, simulated, f"burst{number}", version) for number in range(_bursts(plan))),
    )


def _bursts(plan: Plan) -> int:
    return BURST_ROUTES if Fault.REDIS_FULL in plan.faults else 0


def splice_again(route: SoakRoute) -> list[Any]:
    """Return splices of a route's first closure made once more, each fibre by itself."""
    simulated = simulate_large(fibres=FIBRES, closures=CLOSURES, seed=7)
    ribbon = next(one for one in simulated.splicing() if one["kind"] == "splice" and one["site"] == "C1")
    name = route.records[0]["site"].rpartition(".")[0]
    return [renewed(ribbon | {"joints": [joint]}, name) for joint in ribbon["joints"]]


def _describe(parties: Parties, simulated: LargeRoute, name: str, version: int) -> SoakRoute:
    # Sites of its own: else each sealing would touch every route of the project.
    sites = [site | {"id": f"{name}.{site['id']}"} for site in simulated.design["sites"]]
    [whole] = simulated.design["segments"]
    segment = whole | {"sites": [site["id"] for site in sites]}
    design = on_other_cable(simulated.design | {"sites": sites, "segments": [segment]}, name)
    made = parties.ask(TokenKind.CONTRACTOR, "POST", f"/v1/projects/{parties.project_id}/routes", json=design)
    parties.ask(TokenKind.ENGINEER, "PUT", f"/v1/routes/{made['id']}/design/agreement", json={"revision": 1})
    binding, form = f"/v1/routes/{made['id']}/criteria", {"version": version}
    parties.ask(TokenKind.ENGINEER, "PUT", binding, json=form)
    parties.ask(TokenKind.CONTRACTOR, "PUT", f"{binding}/acknowledgement", json=form)
    return SoakRoute(id=made["id"], records=[renewed(record, name) for record in simulated.records()])
