"""An embedded Redis: one unix socket, nothing on disk."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from worker.demo.embedded.account import make_folder, server_account
from worker.demo.embedded.process import Command, KeptServer
from worker.demo.embedded.programs import redis_program


class RedisServer(KeptServer):
    """A Redis that can be stopped, killed and started again on the same socket; it always starts empty."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self._account = server_account()
        self._folder = folder / "redis"
        make_folder(self._folder, owner=self._account)
        self._program = redis_program(copy_into=self._folder, account=self._account)

    @property
    def socket(self) -> Path:
        """Return the path of the unix socket."""
        return self._folder / "redis.sock"

    @property
    def url(self) -> str:
        """Return the broker URL."""
        return f"redis+socket://{self.socket}"

    def start(self) -> None:
        """Start the server, anew if need be, and wait until it answers."""
        self._run(self._command(), answers=self._answers)

    def _command(self) -> Command:
        settings = {
            "port": "0",
            "unixsocket": str(self.socket),
            "unixsocketperm": "700",
            "save": "",
            "appendonly": "no",
            "maxmemory-policy": "noeviction",
            "dir": str(self._folder),
        }
        options = [word for name, value in settings.items() for word in (f"--{name}", value)]
        return Command(
            arguments=(str(self._program), *options),
            folder=self._folder,
            log=self._folder / "redis.log",
            account=self._account,
        )

    def _answers(self) -> bool:
        # The client's own retries wait for seconds; we ask again in an instant.
        at_once = Retry(NoBackoff(), retries=0)
        with redis.Redis(unix_socket_path=str(self.socket), retry=at_once) as client:
            try:
                return bool(client.ping())
            except redis.exceptions.ConnectionError:
                return False


@contextmanager
def run_redis(folder: Path) -> Iterator[str]:
    """Run a Redis inside a private folder and lend its broker URL."""
    server = RedisServer(folder)
    try:
        server.start()
        yield server.url
    finally:
        server.stop()
