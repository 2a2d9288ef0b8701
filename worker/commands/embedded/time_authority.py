"""The throwaway authority on a port of this machine: it states the time (RFC 3161) and gives its revocation list."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler

from worker.commands.embedded.local_server import serve_locally
from worker.signing.authority import DemonstrationAuthority
from worker.signing.demonstration_time import state_time

_LARGEST_REQUEST = 4096


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
