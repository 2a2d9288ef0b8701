"""From one splice posted to its entry in the work list: on a quiet machine, and while another crew uploads."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from itertools import count, islice, product
from typing import Any
from uuid import uuid4

import httpx
from sqlalchemy import Engine

from service.vocabulary.words import TokenKind
from tests.benchmarks.material import (
    batch_body,
    bind_route,
    describe_route,
    in_batches,
    post_batch,
    renewed,
    simulated,
)
from tests.benchmarks.rest import wait_until_at_rest
from tests.benchmarks.rows import Row, Scale, median_and_95th_ms, percentile_95
from worker.demo.parties import Parties

_QUIET_MS = 60
_UNDER_UPLOAD_MS = 1000
_LOOK_AGAIN_S = 0.005
_PATIENCE_S = 30
# Far above every action limit: the splice has to be done again.
_BAD_ESTIMATE_DB = 0.9


def measure_reaction(parties: Parties, engine: Engine, scale: Scale) -> Iterator[Row]:
    """Give the rows of the way from a splice to the work list."""
    for fibres in scale.fibres:
        name = f"react-{fibres}"
        route_id = describe_route(parties, fibres, name=name)
        bind_route(parties, fibres, route_id)
        splices = _bad_splices(fibres, name)
        wait_until_at_rest(engine)
        ask_s = min(_ask_worklist_s(parties, route_id) for _ in range(10))
        quiet = [_react_s(parties, route_id, splice) for splice in islice(splices, scale.reactions)]
        with _another_crew_uploads(parties, scale.uploaded_fibres, name) as uploaded:
            busy = [_react_s(parties, route_id, splice) for splice in islice(splices, scale.reactions)]
        reference = f"asking for the work list of an untouched route {ask_s * 1000:.1f} ms"
        yield _row("splice to work list, quiet", fibres, quiet, reference, at_most_ms=_QUIET_MS)
        reference = f"{sum(uploaded):,} records of {scale.uploaded_fibres} fibres uploaded meanwhile"
        yield _row("splice to work list, upload", fibres, busy, reference, at_most_ms=_UNDER_UPLOAD_MS)


def _row(what: str, fibres: int, seconds: list[float], reference: str, *, at_most_ms: float) -> Row:
    return Row(
        what=what,
        fibres=fibres,
        measured=f"{median_and_95th_ms(seconds)} of {len(seconds)}",
        reference=reference,
        figure=percentile_95(seconds) * 1000,
        unit="ms",
        at_most=at_most_ms,
    )


def _bad_splices(fibres: int, name: str) -> Iterator[Any]:
    closures = simulated(fibres).truth.sites[1:-1]
    for site, fibre in product(closures, range(1, fibres + 1)):
        yield {
            "id": str(uuid4()),
            "kind": "splice",
            "made_at": datetime.now(UTC).isoformat(),
            "operator": "p-3k7",
            "device": "tablet-31",
            "site": f"{name}.{site}",
            "joints": [{"fibre": fibre, "estimate_db": _BAD_ESTIMATE_DB}],
            "splicer_serial": "FS-2301",
            "sleeve_shrunk": True,
        }


def _react_s(parties: Parties, route_id: str, splice: Any) -> float:
    wanted = (splice["site"], splice["joints"][0]["fibre"])
    began = time.perf_counter()
    post_batch(parties, route_id, batch_body([splice]))
    while True:
        orders = _worklist(parties, route_id)
        took_s = time.perf_counter() - began
        if any(_asks_for(order, *wanted) for order in orders):
            return took_s
        assert took_s < _PATIENCE_S, f"no entry for {wanted}"
        time.sleep(_LOOK_AGAIN_S)


def _worklist(parties: Parties, route_id: str) -> list[Any]:
    orders: list[Any] = parties.ask(TokenKind.CREW, "GET", f"/v1/routes/{route_id}/worklist")["orders"]
    return orders


def _asks_for(order: Any, site: str, fibre: int) -> bool:
    is_on_fibre = any(one["first"] <= fibre <= one["last"] for one in order["fibres"])
    return order["act"] == "re_splice" and site in order["sites"] and is_on_fibre


def _ask_worklist_s(parties: Parties, route_id: str) -> float:
    began = time.perf_counter()
    _worklist(parties, route_id)
    return time.perf_counter() - began


@contextmanager
def _another_crew_uploads(parties: Parties, fibres: int, beside: str) -> Iterator[list[int]]:
    """Upload a whole large route, and then a new one, until the block ends; give the sizes of the batches uploaded."""
    records, stop = list(simulated(fibres).records()), threading.Event()
    uploaded: list[int] = []

    def upload() -> None:
        with httpx.Client(base_url=parties.http.base_url, timeout=60) as http:
            crew = replace(parties, http=http)
            for number in count(1):
                name = f"beside-{beside}-{number}"
                route_id = describe_route(crew, fibres, name=name)
                bind_route(crew, fibres, route_id)
                for batch in in_batches(renewed(record, name) for record in records):
                    if stop.is_set():
                        return
                    post_batch(crew, route_id, batch_body(batch))
                    uploaded.append(len(batch))

    thread = threading.Thread(target=upload)
    thread.start()
    try:
        yield uploaded
    finally:
        stop.set()
        thread.join()
    assert uploaded, "nothing was uploaded"
