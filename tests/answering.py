"""A server that answers everything alike, for the tests of whom we ask."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler

from worker.demo.authority.server import serve_locally


@dataclass(kw_only=True)
class Answering:
    """What it answers, and what it was asked. With `pauses_s` it sends a byte at a time."""

    content: bytes = b""
    kind: str = "application/timestamp-reply"
    status: int = 200
    pauses_s: float | None = None
    location: str | None = None
    asked: list[tuple[str, bytes]] = field(default_factory=list)

    @contextmanager
    def served(self) -> Iterator[str]:
        """Serve while the block runs; give the address."""
        with serve_locally(_handler(self)) as url:
            yield url


def _handler(answering: Answering) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self._answer()

        def do_POST(self) -> None:
            self._answer()

        def _answer(self) -> None:
            answering.asked.append((self.command, self.rfile.read(int(self.headers.get("Content-Length", 0)))))
            self.send_response(answering.status)
            self.send_header("Content-Type", answering.kind)
            if answering.location is not None:
                self.send_header("Location", answering.location)
            self.send_header("Content-Length", str(len(answering.content)))
            self.end_headers()
            if answering.pauses_s is None:
                self.wfile.write(answering.content)
                return
            for byte in answering.content:
                try:
                    self.wfile.write(bytes([byte]))
                except OSError:
                    return
                time.sleep(answering.pauses_s)

        def log_message(self, *_: object) -> None:
            pass

    return Handler


@contextmanager
def nobody() -> Iterator[str]:
    """Give an address at which nobody answers."""
    with Answering().served() as url:
        pass
    yield url
