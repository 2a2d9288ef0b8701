"""Posting: traces of 42 events in batches of 200 over HTTP, against typed validation alone of the same bodies.

The reference parses each body and validates each of its records, in this process, and does nothing else. The figure is
the reference's time on the time from a list of records in the client to its parsed answer, the client's work included.
"""

import time
from collections.abc import Iterator
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Engine

from service.vocabulary.records.record import RECORD
from tests.benchmarks.material import BATCH, batch_body, bind_route, describe_route, post_batch, trace_batches
from tests.benchmarks.rest import wait_until_at_rest
from tests.benchmarks.rows import Row, Scale
from worker.demo.parties import Parties

_AT_LEAST = 0.35


def measure_posting(parties: Parties, engine: Engine, scale: Scale) -> Iterator[Row]:
    """Give the rows of posting."""
    for fibres in scale.fibres:
        name = f"post-{fibres}"
        route_id = describe_route(parties, fibres, name=name)
        batches = trace_batches(fibres, count=scale.batches, name=name)
        wait_until_at_rest(engine)
        reference_s = min(_validate_s(batch_body(batch)) for batch in batches)
        first_s = min(_post_s(parties, route_id, batch, outcome="stored") for batch in batches)
        again_s = min(_post_s(parties, route_id, batch, outcome="already_stored") for batch in batches)
        reference = f"validation alone {BATCH / reference_s:,.0f}/s"
        yield Row(
            what="posting",
            fibres=fibres,
            measured=f"{BATCH / first_s:,.0f} records/s",
            reference=reference,
            figure=reference_s / first_s,
            at_least=_AT_LEAST,
        )
        yield Row(
            what="posting again",
            fibres=fibres,
            measured=f"{BATCH / again_s:,.0f} records/s",
            reference=f"first time {BATCH / first_s:,.0f}/s",
            figure=first_s / again_s,
            at_least=1,
        )
        bind_route(parties, fibres, route_id)
        fresh = trace_batches(fibres, count=scale.batches, name=name)
        judged_s = min(_post_s(parties, route_id, batch, outcome="stored") for batch in fresh)
        yield Row(
            what="posting while a worker judges it",
            fibres=fibres,
            measured=f"{BATCH / judged_s:,.0f} records/s",
            reference=reference,
            figure=reference_s / judged_s,
        )


def _validate_s(body: bytes) -> float:
    began = time.perf_counter()
    for record in from_json(body)["records"]:
        RECORD.validate_python(record)
    return time.perf_counter() - began


def _post_s(parties: Parties, route_id: str, batch: list[Any], *, outcome: str) -> float:
    began = time.perf_counter()
    answer = post_batch(parties, route_id, batch_body(batch))
    took_s = time.perf_counter() - began
    assert {one["outcome"] for one in answer["results"]} == {outcome}
    return took_s
