"""The throwaway authority on a port of this machine: it states the time (RFC 3161) and gives its revocation list."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from worker.demo.authority.throwaway import DemonstrationAuthority
from worker.demo.authority.time_stamp import state_time

_LARGEST_REQUEST = 4096
# Left alone the library looks twice a second whether it shall end.
_LOOK_EVERY_S = 0.05


@contextmanager
def serve_time(
    authority: DemonstrationAuthority, *, clock: Callable[[], datetime] = lambda: datetime.now(UTC)
) -> Iterator[str]:
    """Serve while the block runs, from threads of this process; yield the address."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            """Answer a request for the time."""
            length = int(self.headers.get("Content-Length", 0))
            if not 0 < length <= _LARGEST_REQUEST:
                self.send_error(400)
                return
            try:
                token = state_time(
                    self.rfile.read(length),
                    certificate=authority.time_certificate,
                    key=authority.time_key,
                    now=clock(),
                )
            except (ValueError, TypeError, LookupError):
                self.send_error(400)
                return
            self._send(token, kind="application/timestamp-reply")

        def do_GET(self) -> None:
            """Give the revocation list: nothing was taken back."""
            self._send(authority.revocation_list(now=clock()), kind="application/pkix-crl")

        def _send(self, content: bytes, *, kind: str) -> None:
            self.send_response(200)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, *_: object) -> None:
            """Say nothing: whoever asks says what went wrong."""

    with serve_locally(Handler) as url:
        yield url


@contextmanager
def serve_locally(handler: type[BaseHTTPRequestHandler]) -> Iterator[str]:
    """Answer requests from threads of this process; yield the address."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": _LOOK_EVERY_S}, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
