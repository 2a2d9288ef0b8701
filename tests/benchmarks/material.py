"""What the benchmarks post: simulated routes of 42 sites, and their records under new ids."""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from functools import lru_cache
from itertools import cycle, islice
from typing import Any
from uuid import uuid4

import orjson

from service.vocabulary.words import TokenKind
from tests.bodies.routes import on_other_cable
from tests.simulator.large import LargeRoute, simulate_large
from worker.demo.parties import Parties

EVENTS_A_TRACE = 42
BATCH = 200
_CLOSURES = 40
_PLACES = ("site", "from_site", "to_site")
_DIRECTIONS_BY_WAVELENGTHS = 4
# Hardly an event is unseen at this threshold, so that the readings are as many as the joints say.
_THRESHOLD_DB = 0.001


@lru_cache(maxsize=8)
def simulated(fibres: int) -> LargeRoute:
    """Return a route of 40 closures between two terminals."""
    return simulate_large(fibres=fibres, closures=_CLOSURES, seed=7, loss_threshold_db=_THRESHOLD_DB)


def readings_of(fibres: int) -> int:
    """Return how many joint readings a route has: both directions at both wavelengths."""
    return fibres * EVENTS_A_TRACE * _DIRECTIONS_BY_WAVELENGTHS


def traces(fibres: int) -> list[Any]:
    """Return a route's traces, each cut to 42 events."""
    return [
        record | {"events": record["events"][:EVENTS_A_TRACE]}
        for record in simulated(fibres).otdr()
        if len(record["events"]) >= EVENTS_A_TRACE
    ]


def trace_batches(fibres: int, *, count: int, name: str) -> list[list[Any]]:
    """Return batches of 200 traces under new ids, the route's own over and over."""
    endless = cycle(traces(fibres))
    return [[renewed(record, name) for record in islice(endless, BATCH)] for _ in range(count)]


def renewed(record: Any, name: str) -> Any:
    """Return a record under a new id, at the sites of a route of that name."""
    places = {member: f"{name}.{record[member]}" for member in _PLACES if member in record}
    return record | places | {"id": str(uuid4())}


def design_of(fibres: int, *, name: str) -> Any:
    """Return a route's design with sites of its own: else each sealing would touch every route of the project."""
    design = simulated(fibres).design
    sites = [site | {"id": f"{name}.{site['id']}"} for site in design["sites"]]
    [whole] = design["segments"]
    segment = whole | {"sites": [site["id"] for site in sites]}
    return on_other_cable(design | {"sites": sites, "segments": [segment]}, name)


def in_batches(records: Iterable[Any]) -> Iterator[list[Any]]:
    """Give records in batches as they are posted."""
    source = iter(records)
    while batch := list(islice(source, BATCH)):
        yield batch


def batch_body(records: list[Any]) -> bytes:
    """Return the body that posts records."""
    return orjson.dumps({"sent_at": datetime.now(UTC).isoformat(), "records": records})


def describe_route(parties: Parties, fibres: int, *, name: str) -> str:
    """Describe a route of a size, without criteria yet, and return its id."""
    design = design_of(fibres, name=name)
    route = parties.ask(TokenKind.CONTRACTOR, "POST", f"/v1/projects/{parties.project_id}/routes", json=design)
    route_id: str = route["id"]
    return route_id


def bind_route(parties: Parties, fibres: int, route_id: str) -> None:
    """Bind a route to criteria: from now on what is posted to it is judged."""
    path = f"/v1/projects/{parties.project_id}/criteria"
    form = {"version": parties.ask(TokenKind.ENGINEER, "POST", path, json=simulated(fibres).criteria)["version"]}
    binding = f"/v1/routes/{route_id}/criteria"
    parties.ask(TokenKind.ENGINEER, "PUT", binding, json=form)
    parties.ask(TokenKind.CONTRACTOR, "PUT", f"{binding}/acknowledgement", json=form)


def post_batch(parties: Parties, route_id: str, body: bytes) -> Any:
    """Post a batch as the crew's app does, and return the answer, in which nothing may have failed."""
    headers = {"Content-Type": "application/json"}
    answer = parties.ask(TokenKind.CREW, "POST", f"/v1/routes/{route_id}/records", content=body, headers=headers)
    assert answer["failed"] == 0, answer
    return answer
