"""The field client behind a network that loses answers: nothing is lost, nothing is there twice."""

import http.client
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import cycle
from pathlib import Path
from typing import Any
from uuid import uuid4

import httpx
import pytest
from sqlalchemy import text

from openapi_examples.field_client import FieldClient
from service.vocabulary.words import TokenKind
from tests.integration.api.conftest import OpenWorld
from tests.world import World, read_demo

CREW = TokenKind.CREW
PASS, LOSE_REQUEST, LOSE_ANSWER, CUT_ANSWER = "pass", "lose the request", "lose the answer", "cut the answer"


@contextmanager
def bad_network(service: httpx.URL, troubles: Callable[[], str]) -> Iterator[str]:
    """Stand before the service and do to each request what `troubles` says; give the address to call instead."""

    class Proxy(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            trouble = troubles()
            body = self.rfile.read(int(self.headers["Content-Length"]))
            self.close_connection = trouble != PASS
            if trouble == LOSE_REQUEST:
                return
            behind = http.client.HTTPConnection(service.host, service.port, timeout=30)
            behind.request("POST", self.path, body, dict(self.headers))
            answer = behind.getresponse()
            content = answer.read()
            behind.close()
            if trouble == LOSE_ANSWER:
                return
            self.send_response(answer.status)
            self.send_header("Content-Type", answer.headers["Content-Type"])
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content[: len(content) // 2] if trouble == CUT_ANSWER else content)

        def log_message(self, *_: Any) -> None:
            """Say nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Proxy) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}"
        finally:
            server.shutdown()
            thread.join()


def stored(world: World) -> list[tuple[str, int]]:
    """Return each stored record's id and how often it is linked to a fibre."""
    with world.engine.connect() as connection:
        rows = connection.execute(
            text("SELECT r.id, count(f.*) FROM record r JOIN record_fibre f ON f.record_id = r.id GROUP BY r.id")
        )
        return [(str(row[0]), row[1]) for row in rows]


@pytest.mark.parametrize(
    "script",
    [
        [LOSE_REQUEST, LOSE_ANSWER, PASS],
        [CUT_ANSWER, CUT_ANSWER, LOSE_ANSWER, PASS, PASS],
        # Longer than the client tries before it gives up, so that the queue waits for another day.
        [LOSE_ANSWER] * 8 + [PASS],
    ],
)
def test_through_a_network_that_loses_answers_each_record_arrives_once(
    fresh_world: OpenWorld, tmp_path: Path, script: list[str]
) -> None:
    world, troubles = fresh_world("bound"), cycle(script)
    records = [
        {**record, "id": str(uuid4())}
        for _ in range(4)
        for record in read_demo("01_splicing")["records"]
        if record["kind"] == "splice"
    ]
    with (
        bad_network(world.http.base_url, lambda: next(troubles)) as address,
        httpx.Client(base_url=address, timeout=30) as network,
    ):
        client = FieldClient(tmp_path, network, route=world.route_id, token=world.tokens[CREW], sleep=lambda _: None)
        for record in records:
            client.add(record)
        while client.send():
            pass
    assert len(records) > 400
    assert sorted(stored(world)) == sorted((record["id"], len(record["joints"])) for record in records)
    assert client.held() == []
    with world.engine.connect() as connection:
        deeds = connection.execute(text("SELECT count(*) FROM audit_entry WHERE entry LIKE '%records.stored%'"))
        batches = -(-len(records) // 200)
        assert deeds.scalar_one() == batches


def test_what_the_service_refuses_is_held_and_the_rest_arrives(fresh_world: OpenWorld, tmp_path: Path) -> None:
    world = fresh_world("bound")
    troubles = iter([LOSE_ANSWER, PASS])
    good, unfit, twin = ({**record, "id": str(uuid4())} for record in read_demo("01_splicing")["records"][:3])
    unfit["site"] = "nowhere"
    world.post_records([{**twin, "operator": "p-other"}])
    with bad_network(world.http.base_url, lambda: next(troubles)) as address, httpx.Client(base_url=address) as network:
        client = FieldClient(tmp_path, network, route=world.route_id, token=world.tokens[CREW], sleep=lambda _: None)
        for record in (good, unfit, twin):
            client.add(record)
        assert client.send() == 0
    assert {held["record"]["id"]: held["problem"]["status"] for held in client.held()} == {
        unfit["id"]: 422,
        twin["id"]: 409,
    }
    assert sorted(id_ for id_, _ in stored(world)) == sorted([good["id"], twin["id"]])
