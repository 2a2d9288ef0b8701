"""The field client against a service that loses answers, is busy, and disagrees."""

import json
import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import httpx
import pytest

from openapi_examples.field_client import BATCH, PAUSES_S, FieldClient

Json = dict[str, Any]
_BASE = "http://service.test"


def make_record(number: int, **changes: Any) -> Json:
    return {"id": str(UUID(int=number)), "kind": "closure_state", "site": "C1", "state": "sealed"} | changes


class Service:
    """Stores each record once, as the real one does, after whatever trouble stands before it."""

    def __init__(self, *troubles: Callable[["Service", httpx.Request], httpx.Response]) -> None:
        self.troubles = list(troubles)
        self.stored: dict[str, Json] = {}
        self.requests: list[httpx.Request] = []

    def __call__(self, request: httpx.Request) -> httpx.Response:
        self.requests.append(request)
        return self.troubles.pop(0)(self, request) if self.troubles else self.store(request)

    def store(self, request: httpx.Request) -> httpx.Response:
        results = [self._result(record) for record in json.loads(request.content)["records"]]
        return httpx.Response(207, json={"results": results, "failed": sum("problem" in one for one in results)})

    def _result(self, record: Json) -> Json:
        if record["site"] == "nowhere":
            problem = {"code": "record.refused", "pointer": "/site"}
            return {"id": record["id"], "outcome": "refused", "status": 422, "problem": problem}
        earlier = self.stored.setdefault(record["id"], record)
        if earlier is record:
            return {"id": record["id"], "outcome": "stored", "status": 201}
        if earlier == record:
            return {"id": record["id"], "outcome": "already_stored", "status": 200}
        return {"id": record["id"], "outcome": "conflict", "status": 409, "problem": {"code": "record.conflict"}}


def lose_the_answer(service: Service, request: httpx.Request) -> httpx.Response:
    service.store(request)
    raise httpx.ReadError("connection reset", request=request)


def be_unreachable(_: Service, request: httpx.Request) -> httpx.Response:
    raise httpx.ConnectError("no route to host", request=request)


def answer(status: int, **headers: str) -> Callable[[Service, httpx.Request], httpx.Response]:
    return lambda _, request: httpx.Response(
        status, headers={name.replace("_", "-"): value for name, value in headers.items()}, request=request
    )


def make_client(folder: Path, service: Service, pauses_s: list[float] | None = None) -> FieldClient:
    http = httpx.Client(base_url=_BASE, transport=httpx.MockTransport(service))
    pauses = [] if pauses_s is None else pauses_s
    return FieldClient(folder, http, route="r-1", token="crew-token", sleep=pauses.append)


def test_a_batch_says_when_it_was_sent_and_who_sends_it(tmp_path: Path) -> None:
    service = Service()
    client = make_client(tmp_path, service)
    client.add(make_record(1))
    client.send()
    [request] = service.requests
    assert (request.method, str(request.url)) == ("POST", f"{_BASE}/v1/routes/r-1/records")
    assert request.headers["Authorization"] == "Bearer crew-token"
    body = json.loads(request.content)
    assert datetime.fromisoformat(body["sent_at"]).tzinfo is not None
    assert body["records"] == [make_record(1)]


def test_records_wait_on_disk_for_the_next_start_of_the_app(tmp_path: Path) -> None:
    make_client(tmp_path, Service()).add(make_record(1))
    service = Service()
    make_client(tmp_path, service).send()
    assert list(service.stored) == [make_record(1)["id"]]


def test_nothing_is_posted_once_everything_is_stored(tmp_path: Path) -> None:
    service = Service()
    client = make_client(tmp_path, service)
    client.add(make_record(1))
    client.send()
    client.send()
    assert len(service.requests) == 1


def test_a_long_queue_goes_out_once_in_whole_batches(tmp_path: Path) -> None:
    service = Service()
    client = make_client(tmp_path, service)
    numbers = range(1, 2 * BATCH + 2)
    for number in numbers:
        client.add(make_record(number))
    client.send()
    batches = [json.loads(request.content)["records"] for request in service.requests]
    assert [len(batch) for batch in batches] == [BATCH, BATCH, 1]
    sent = [UUID(record["id"]).int for batch in batches for record in batch]
    assert sorted(sent) == list(numbers)


def test_what_waited_longest_goes_first(tmp_path: Path) -> None:
    service = Service()
    client = make_client(tmp_path, service)
    for number, written_at_s in ((1, 300), (2, 100), (3, 200)):
        client.add(make_record(number))
        os.utime(tmp_path / "waiting" / f"{UUID(int=number)}.json", (written_at_s, written_at_s))
    client.send()
    assert list(service.stored) == [str(UUID(int=number)) for number in (2, 3, 1)]


def test_a_batch_is_sent_again_whole_after_its_answer_was_lost(tmp_path: Path) -> None:
    service, pauses_s = Service(lose_the_answer), list[float]()
    client = make_client(tmp_path, service, pauses_s)
    client.add(make_record(1))
    client.add(make_record(2))
    client.send()
    first, second = (json.loads(request.content)["records"] for request in service.requests)
    assert first == second == [make_record(1), make_record(2)]
    assert len(service.stored) == 2
    assert client.held() == []
    assert pauses_s == [PAUSES_S[0]]


@pytest.mark.parametrize("status", [429, 503])
def test_a_busy_service_is_left_alone_as_long_as_it_asks(tmp_path: Path, status: int) -> None:
    service, pauses_s = Service(answer(status, Retry_After="7"), answer(status)), list[float]()
    client = make_client(tmp_path, service, pauses_s)
    client.add(make_record(1))
    client.send()
    assert pauses_s == [7.0, PAUSES_S[1]]
    assert len(service.stored) == 1


def test_a_service_that_stays_away_leaves_the_queue_as_it_was(tmp_path: Path) -> None:
    service, pauses_s = Service(*[be_unreachable] * len(PAUSES_S)), list[float]()
    client = make_client(tmp_path, service, pauses_s)
    client.add(make_record(1))
    assert client.send() == 1
    assert pauses_s == list(PAUSES_S)
    assert client.send() == 0
    assert len(service.stored) == 1


def test_a_wrong_token_is_said_at_once_and_loses_nothing(tmp_path: Path) -> None:
    service, pauses_s = Service(answer(401)), list[float]()
    client = make_client(tmp_path, service, pauses_s)
    client.add(make_record(1))
    with pytest.raises(httpx.HTTPStatusError):
        client.send()
    assert (len(service.requests), pauses_s) == (1, [])
    client.send()
    assert len(service.stored) == 1


def test_a_conflict_and_a_refusal_are_held_with_their_problem_and_the_rest_goes_on(tmp_path: Path) -> None:
    service = Service()
    service.stored[make_record(1)["id"]] = make_record(1)
    client = make_client(tmp_path, service)
    conflicting, refused = make_record(1, state="opened"), make_record(2, site="nowhere")
    for record in (conflicting, refused, make_record(3)):
        client.add(record)
    client.send()
    assert {held["problem"]["code"]: held["record"] for held in client.held()} == {
        "record.conflict": conflicting,
        "record.refused": refused,
    }
    assert make_record(3)["id"] in service.stored
    client.send()
    assert len(service.requests) == 1


def test_a_corrected_record_needs_an_id_of_its_own(tmp_path: Path) -> None:
    client = make_client(tmp_path, Service())
    client.add(make_record(2, site="nowhere"))
    client.send()
    with pytest.raises(FileExistsError):
        client.add(make_record(2))
    assert [held["record"] for held in client.held()] == [make_record(2, site="nowhere")]


def test_two_records_under_one_id_are_noticed_before_one_is_overwritten(tmp_path: Path) -> None:
    service = Service()
    client = make_client(tmp_path, service)
    client.add(make_record(1))
    with pytest.raises(FileExistsError):
        client.add(make_record(1, state="opened"))
    client.send()
    assert service.stored[make_record(1)["id"]] == make_record(1)


def test_an_answer_that_names_too_few_records_leaves_them_waiting(tmp_path: Path) -> None:
    service = Service(lambda _, request: httpx.Response(207, json={"results": [], "failed": 0}, request=request))
    client = make_client(tmp_path, service)
    client.add(make_record(1))
    with pytest.raises(ValueError, match="zip"):
        client.send()
    client.send()
    assert len(service.stored) == 1
