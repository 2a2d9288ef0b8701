"""A small HTTP server on a free port of this machine, for as long as a block runs."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

# Left alone the library looks twice a second whether it shall end.
_LOOK_EVERY_S = 0.05


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
