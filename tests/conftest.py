"""What every test may ask for: real servers, started once and only when somebody asks."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from worker.commands.embedded import EmbeddedPostgres, RedisServer, private_folder, run_postgres


@dataclass(frozen=True, kw_only=True)
class Servers:
    """The session's PostgreSQL and Redis, and the private folder they live in."""

    folder: Path
    postgres: EmbeddedPostgres
    redis: RedisServer


@pytest.fixture(scope="session")
def servers() -> Iterator[Servers]:
    """Run PostgreSQL and Redis for the whole session."""
    with private_folder() as folder, run_postgres(folder) as postgres:
        redis = RedisServer(folder)
        try:
            redis.start()
            yield Servers(folder=folder, postgres=postgres, redis=redis)
        finally:
            redis.stop()


@pytest.fixture(scope="session")
def redis_server(servers: Servers) -> RedisServer:
    """Lend the session's Redis; whoever stops or kills it starts it again."""
    return servers.redis
