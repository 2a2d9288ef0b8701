"""Crews post their routes' records in batches of any size, some of them twice; what was answered is remembered."""

import queue
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from random import Random
from typing import Any
from uuid import UUID

from service.vocabulary.words import TokenKind
from tests.soak.faults.client import Patient, Progress
from tests.soak.faults.site import SoakRoute

_LARGEST_BATCH = 40
_SENT_TWICE = 0.15


class Crew:
    """One crew: route after route, each handed on when all of it is answered."""

    def __init__(
        self,
        routes: tuple[SoakRoute, ...],
        *,
        connect: Callable[[], Patient],
        progress: Progress,
        finished: "queue.SimpleQueue[SoakRoute | None]",
        draw: Random,
    ) -> None:
        self._routes, self._connect, self._draw = routes, connect, draw
        self._progress, self._finished = progress, finished

    def work(self) -> None:
        """Post everything."""
        client = self._connect()
        try:
            for route in self._routes:
                for batch in self._batches(route.records):
                    self._post(client, route, batch)
                self._finished.put(route)
        finally:
            self._finished.put(None)
            self._progress.leave()
            client.close()

    def _batches(self, records: list[Any]) -> Iterator[list[Any]]:
        begin = 0
        while begin < len(records):
            size = self._draw.randint(1, _LARGEST_BATCH)
            yield records[begin : begin + size]
            begin += size

    def _post(self, client: Patient, route: SoakRoute, batch: list[Any]) -> None:
        self._progress.add(post(client, route, batch))
        if self._draw.random() < _SENT_TWICE:
            assert post(client, route, batch) == 0, "what was stored is stored again"


def post(client: Patient, route: SoakRoute, records: list[Any]) -> int:
    """Post records until they are answered; return how many of them are answered for the first time."""
    form = {"sent_at": datetime.now(UTC).isoformat(), "records": records}
    results = client.ask(TokenKind.CREW, "POST", f"/v1/routes/{route.id}/records", json=form)["results"]
    before = len(route.answered)
    for record, result in zip(records, results, strict=True):
        assert result["status"] in {200, 201}, result
        route.answered[UUID(record["id"])] = record
    return len(route.answered) - before
