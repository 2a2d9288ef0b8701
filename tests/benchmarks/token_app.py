"""The service, with one operation more that does only the token check: what a status request is measured against."""

import socket
import sys

import uvicorn
from fastapi import APIRouter, Response

from service.api.app import create_app
from service.api.gate import ReaderGate
from service.api.routing import CheckedRoute
from worker.commands.processes import keep_what_is_loaded

TOKEN_PATH = "/benchmark/token"
_router = APIRouter(route_class=CheckedRoute)


@_router.get(TOKEN_PATH, status_code=204)
def check_token(gate: ReaderGate) -> Response:
    """Enter the gate, and answer."""
    with gate.read_snapshot():
        return Response(status_code=204)


def run(descriptor: int) -> None:
    """Answer on a listening socket that was handed over, as the service's own process does."""
    app = create_app()
    app.include_router(_router)
    keep_what_is_loaded()
    config = uvicorn.Config(app, log_level="warning", access_log=False)
    uvicorn.Server(config).run(sockets=[socket.socket(fileno=descriptor)])


if __name__ == "__main__":
    run(int(sys.argv[1]))
