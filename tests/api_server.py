"""The API on a real socket, in a thread of the test's own process."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import httpx
import uvicorn
from fastapi import FastAPI


@contextmanager
def serve(app: FastAPI) -> Iterator[httpx.Client]:
    """Serve an application on loopback and return a client of it."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="on"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        while not server.started:
            if not thread.is_alive():
                raise RuntimeError("the API did not start")
            time.sleep(0.005)
        host, port = listener.getsockname()
        try:
            with httpx.Client(base_url=f"http://{host}:{port}", timeout=30) as client:
                yield client
        finally:
            server.should_exit = True
            thread.join(timeout=10)
