"""Status asked with the ETag that matches, against an operation that does only the token check, in one process."""

import os
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

import httpx
from sqlalchemy import Engine

from service.settings import WorkerSettings
from service.vocabulary.words import TokenKind
from tests.benchmarks.material import batch_body, bind_route, describe_route, post_batch, trace_batches
from tests.benchmarks.rest import wait_until_at_rest
from tests.benchmarks.rows import Row, Scale
from tests.benchmarks.token_app import TOKEN_PATH
from worker.demo.parties import Parties

_AT_LEAST = 0.8
_READY_WITHIN_S = 30


def measure_status(parties: Parties, engine: Engine, settings: WorkerSettings, scale: Scale) -> Iterator[Row]:
    """Give the rows of a repeated status request."""
    # What was uploaded before is judged first: its queue would be waited for with each of these.
    wait_until_at_rest(engine)
    paths = {fibres: _judged_status(parties, fibres) for fibres in scale.fibres}
    wait_until_at_rest(engine)
    with _serve_token_app(settings) as http:
        http.headers["Authorization"] = f"Bearer {parties.tokens[TokenKind.CREW]}"
        for fibres, path in paths.items():
            etag = http.get(path).raise_for_status().headers["ETag"]
            token_s, status_s = [], []
            for _ in range(scale.requests):
                token_s.append(_ask_s(http, TOKEN_PATH, etag, expected=204))
                status_s.append(_ask_s(http, path, etag, expected=304))
            token_ms, status_ms = statistics.median(token_s) * 1000, statistics.median(status_s) * 1000
            yield Row(
                what="status, 304",
                fibres=fibres,
                measured=f"{status_ms:.2f} ms",
                reference=f"token check alone {token_ms:.2f} ms",
                figure=token_ms / status_ms,
                at_least=_AT_LEAST,
            )


def _judged_status(parties: Parties, fibres: int) -> str:
    name = f"status-{fibres}"
    parties.route_id = describe_route(parties, fibres, name=name)
    bind_route(parties, fibres, parties.route_id)
    [batch] = trace_batches(fibres, count=1, name=name)
    post_batch(parties, parties.route_id, batch_body(batch))
    parties.status()
    return f"/v1/routes/{parties.route_id}/acceptance"


def _ask_s(http: httpx.Client, path: str, etag: str, *, expected: int) -> float:
    began = time.perf_counter()
    answer = http.get(path, headers={"If-None-Match": etag})
    took_s = time.perf_counter() - began
    assert answer.status_code == expected, (path, answer.status_code)
    return took_s


@contextmanager
def _serve_token_app(settings: WorkerSettings) -> Iterator[httpx.Client]:
    environment = {
        **os.environ,
        "DATABASE_URL": settings.database_url.get_secret_value(),
        "BLOB_DIR": str(settings.blob_dir),
    }
    with socket.create_server(("127.0.0.1", 0)) as listener:
        host, port = listener.getsockname()
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.token_app", str(listener.fileno())],
            env=environment,
            pass_fds=[listener.fileno()],
        )
    try:
        with httpx.Client(base_url=f"http://{host}:{port}", timeout=_READY_WITHIN_S) as http:
            # The socket listens from the start: the request waits in it until the process answers.
            http.get("/health/ready").raise_for_status()
            yield http
    finally:
        process.terminate()
        process.wait(timeout=_READY_WITHIN_S)
