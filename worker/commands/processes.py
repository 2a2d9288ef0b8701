"""The long-running parts: API, relay, worker, reader; each is one process and any number may run."""

import gc
import signal
import socket
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from types import FrameType

import structlog
import uvicorn
from celery.signals import worker_shutting_down
from sqlmodel import Session

from service.api.app import create_app
from service.settings import ServiceSettings, WorkerSettings
from service.storage.renewal import start_next
from service.storage.session import make_engine, make_hint_engine
from worker.app import KINDS_AT, HintQueue, make_app, make_ask_room, make_hint, redis_client
from worker.commands.liveness import READY, Beat, WorkerWatch, beat_into, end_process, watch_rounds
from worker.jobs.lease import do_nothing, stop_soon
from worker.judgement.judge import ENGINE
from worker.relay import Relay
from worker.sealing.signing_key import load_key
from worker.tasks import STEPS

log = structlog.get_logger()
# What a job that overran its limit is given to end.
_KILLED_WITHIN_S = 15
# Every wait in a relay's round is shorter.
_STUCK_AFTER_S = 60


def keep_what_is_loaded() -> None:
    """Let the garbage collector leave alone what lives as long as the process.

    Else it looks through all of it again while records come in: a fifth of a second for every few hundred of them.
    """
    gc.collect()
    gc.freeze()


def run_api(*, host: str, port: int, descriptor: int | None, heartbeat_file: Path | None) -> None:
    """Answer requests on an address, or on a listening socket that was handed over."""
    config = uvicorn.Config(create_app(ServiceSettings()), host=host, port=port, log_level="warning", access_log=False)
    keep_what_is_loaded()
    sockets = None if descriptor is None else [socket.socket(fileno=descriptor)]
    _BeatingServer(config, beat_into(heartbeat_file)).run(sockets=sockets)


class _BeatingServer(uvicorn.Server):
    """A server that beats from the loop that answers: while it hangs, the heartbeat file grows old."""

    def __init__(self, config: uvicorn.Config, beat: Beat) -> None:
        super().__init__(config)
        self._beat = beat

    async def on_tick(self, counter: int) -> bool:
        """Beat once a second; the library ticks ten times."""
        if counter % 10 == 0:
            self._beat(READY)
        return await super().on_tick(counter)


def run_relay(heartbeat_file: Path | None) -> None:
    """Pass hints to the workers until told to stop."""
    settings, stop = WorkerSettings(), threading.Event()

    def end(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, end)
    engine = make_hint_engine(settings.database_url.get_secret_value(), pool_size=2)
    relay = Relay(
        engine,
        make_hint(make_app(settings)),
        hint_again_s=settings.hint_again_s,
        groups=list(KINDS_AT.values()),
        ask_room=make_ask_room(redis_client(settings)),
        on_round=beat_into(heartbeat_file),
    )
    watch_rounds(lambda: relay.moved_at, end=end_process, stuck_after_s=_STUCK_AFTER_S)
    relay.run(stop)
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
    # Nobody has to post anything: what an older engine judged is found while this one runs.
    renew = partial(start_next, engine=ENGINE)
    _take_jobs(settings, HintQueue.ORDINARY, concurrency=concurrency, heartbeat_file=heartbeat_file, also=renew)


def run_reader(*, concurrency: int, heartbeat_file: Path | None) -> None:
    """Read files that others made until told to stop: apart from judging, and without the signing key."""
    _take_jobs(WorkerSettings(), HintQueue.FOREIGN, concurrency=concurrency, heartbeat_file=heartbeat_file)


def _take_jobs(
    settings: WorkerSettings,
    queue: HintQueue,
    *,
    concurrency: int,
    heartbeat_file: Path | None,
    also: Callable[[Session], object] = do_nothing,
) -> None:
    app, kinds = make_app(settings), KINDS_AT[queue]
    WorkerWatch(
        engine=make_engine(settings.database_url.get_secret_value(), pool_size=1),
        redis=redis_client(settings),
        kinds=kinds,
        places=concurrency,
        slowest_s=max(STEPS[kind].hard_limit_s for kind in kinds) + _KILLED_WITHIN_S,
        beat=beat_into(heartbeat_file),
        end=end_process,
        also=also,
    ).start()
    # Weak references are all that signals keep.
    worker_shutting_down.connect(_give_back, weak=False)
    keep_what_is_loaded()
    app.worker_main(
        [
            "worker",
            "--pool=prefork",
            f"--concurrency={concurrency}",
            f"--queues={queue.value}",
            "--loglevel=WARNING",
            "--without-gossip",
            "--without-mingle",
            "--without-heartbeat",
        ]
    )


def _give_back(**_: object) -> None:
    stop_soon()
