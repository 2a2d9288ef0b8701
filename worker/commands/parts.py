"""The long-running parts: API, relay, worker; each is one process and any number may run."""

import gc
import logging
import signal
import socket
import sys
import threading
from pathlib import Path
from types import FrameType

import structlog
import uvicorn

from service.api.app import create_app
from service.settings import ServiceSettings, WorkerSettings
from service.storage.session import make_engine
from worker.app import make_app, make_hint
from worker.commands.heartbeat import beat
from worker.relay import Relay
from worker.steps.signing_key import load_key

log = structlog.get_logger()


def start_logging() -> None:
    """Log events as JSON lines to standard error, ours and the libraries'."""
    logging.basicConfig(level=logging.WARNING, stream=sys.stderr, format="%(message)s")
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.dict_tracebacks,
            structlog.processors.JSONRenderer(),
        ],
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
    )


def keep_what_is_loaded() -> None:
    """Let the garbage collector leave alone what lives as long as the process.

    Else it looks through all of it again while records come in: a fifth of a second for every few hundred of them.
    """
    gc.collect()
    gc.freeze()


def run_api(*, host: str, port: int, descriptor: int | None) -> None:
    """Answer requests on an address, or on a listening socket that was handed over."""
    config = uvicorn.Config(create_app(ServiceSettings()), host=host, port=port, log_level="warning", access_log=False)
    keep_what_is_loaded()
    sockets = None if descriptor is None else [socket.socket(fileno=descriptor)]
    uvicorn.Server(config).run(sockets=sockets)


def run_relay(heartbeat_file: Path | None) -> None:
    """Pass hints to the workers until told to stop."""
    settings, stop = WorkerSettings(), threading.Event()

    def end(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, end)
    if heartbeat_file is not None:
        beat(heartbeat_file, stop)
    engine = make_engine(settings.database_url.get_secret_value(), pool_size=2)
    Relay(engine, make_hint(make_app(settings)), hint_again_s=settings.hint_again_s).run(stop)
    engine.dispose()


def run_worker(*, concurrency: int, heartbeat_file: Path | None) -> None:
    """Judge, draw and sign until told to stop; without a usable key it does not start."""
    settings = WorkerSettings()
    key = load_key(settings)
    if key.weakness is not None:
        log.warning(
            "signing_key.weakly_kept",
            reason=key.weakness,
            cure="openssl pkcs12 -export -iter 600000 -certpbe AES-256-CBC -keypbe AES-256-CBC -macalg sha256",
        )
    if heartbeat_file is not None:
        beat(heartbeat_file, threading.Event())
    app = make_app(settings)
    keep_what_is_loaded()
    app.worker_main(
        [
            "worker",
            "--pool=prefork",
            f"--concurrency={concurrency}",
            "--loglevel=WARNING",
            "--without-gossip",
            "--without-mingle",
            "--without-heartbeat",
        ]
    )
