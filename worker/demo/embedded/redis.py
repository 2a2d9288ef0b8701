"""An embedded Redis: one unix socket, nothing on disk.

The wheel's own start saves to disk, leaves the server in the background, and lets it live while anybody is connected;
its version is old, so that one on the path may be the better.
"""

from pathlib import Path

import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from worker.demo.embedded.process import KeptServer
from worker.demo.embedded.programs import redis_program


class RedisServer(KeptServer):
    """A Redis that can be stopped, killed and started again on the same socket; it always starts empty."""

    name = "redis"

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self._program = redis_program(copy_into=self._folder, account=self._account)

    @property
    def socket(self) -> Path:
        """Return the path of the unix socket."""
        return self._folder / "redis.sock"

    @property
    def url(self) -> str:
        """Return the broker URL."""
        return f"redis+socket://{self.socket}"

    def _arguments(self) -> list[str]:
        settings = {
            "port": "0",
            "unixsocket": str(self.socket),
            "unixsocketperm": "700",
            "save": "",
            "appendonly": "no",
            "maxmemory-policy": "noeviction",
            "dir": str(self._folder),
        }
        return [str(self._program), *(word for name, value in settings.items() for word in (f"--{name}", value))]

    def _answers(self) -> bool:
        # The client's own retries wait for seconds; we ask again in an instant.
        at_once = Retry(NoBackoff(), retries=0)
        with redis.Redis(unix_socket_path=str(self.socket), retry=at_once) as client:
            try:
                return bool(client.ping())
            except redis.exceptions.ConnectionError:
                return False
