"""PostgreSQL and Redis as a host's service manager keeps them: killed by the run, and started again by it."""

import os
import signal
import time
from pathlib import Path
from random import Random

from worker.demo.embedded.postgres import PostgresServer
from worker.demo.embedded.process import EmbeddedServerError
from worker.demo.embedded.redis import RedisServer

_START_WITHIN_S = 30.0


def restart_redis(redis: RedisServer, *, away_s: float) -> None:
    """Kill Redis and start it, empty, after a while."""
    redis.kill()
    time.sleep(away_s)
    redis.start()


def restart_postgres(postgres: PostgresServer) -> None:
    """Kill PostgreSQL's first process and start it anew: it recovers from its log."""
    assert postgres.pid is not None
    os.kill(postgres.pid, signal.SIGKILL)
    give_up_at = time.monotonic() + _START_WITHIN_S
    while True:
        try:
            postgres.start()
            return
        except EmbeddedServerError:
            # For a moment the processes that it had forked still hold the shared memory.
            if time.monotonic() > give_up_at:
                raise
            time.sleep(0.2)


def kill_backend(postgres: PostgresServer, *, draw: Random) -> bool:
    """Kill a process that serves one of our connections: PostgreSQL throws out all others and recovers by itself."""
    backends = [pid for pid in children_of(postgres.pid) if b"acceptance_app" in _command_line(pid)]
    return bool(backends) and kill(draw.choice(backends))


def kill(pid: int | None) -> bool:
    """Kill a process, and tell whether it was there."""
    if pid is None:
        return False
    try:
        os.kill(pid, signal.SIGKILL)
    except ProcessLookupError:
        return False
    return True


def children_of(pid: int | None) -> list[int]:
    """Return the processes that a process has forked."""
    try:
        return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except (FileNotFoundError, ProcessLookupError):
        return []


def _command_line(pid: int) -> bytes:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except (FileNotFoundError, ProcessLookupError):
        return b""
