"""The relay and the worker as processes of their own, to be killed."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Self

from service.settings import WorkerSettings

# Short, so that what a dead worker held is taken over within a test.
LEASES = {"LEASE_S": "6", "HINT_AGAIN_S": "1", "SETTLE_INTERVAL_S": "0"}
WITHIN_S = 60.0


class Part:
    """One process group: the command and whatever it forks."""

    def __init__(
        self,
        name: str,
        settings: WorkerSettings,
        log: Path,
        *,
        arguments: Sequence[str] = (),
        environment: Mapping[str, str] = MappingProxyType({}),
    ) -> None:
        self._arguments = [sys.executable, "-m", "worker.commands.main", name, *arguments]
        self._environment = {**_environment(settings), **environment}
        self.log = log
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start, anew if it was killed."""
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                self._arguments,
                env=self._environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )

    @property
    def pid(self) -> int:
        """Return the main process's number."""
        assert self._process is not None
        return self._process.pid

    @property
    def exit_code(self) -> int | None:
        """Return how the main process ended; `None` while it lives."""
        assert self._process is not None
        return self._process.poll()

    @property
    def is_running(self) -> bool:
        """Tell whether the main process lives."""
        return self._process is not None and self._process.poll() is None

    def kill(self) -> None:
        """Kill the main process and its children as the kernel would, and wait for the end."""
        if self._process is not None:
            # A group that has ended by itself is as good.
            with suppress(ProcessLookupError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()
            self._process = None

    def children(self) -> list[int]:
        """Return the processes that do the work."""
        return [int(child) for child in Path(f"/proc/{self.pid}/task/{self.pid}/children").read_text().split()]

    def signal_children(self, number: signal.Signals) -> None:
        """Kill or stop the processes that do the work and leave the main one."""
        for child in self.children():
            os.kill(child, number)

    def stop(self) -> int:
        """End in order and return the exit code."""
        assert self._process is not None
        self._process.send_signal(signal.SIGTERM)
        return self._process.wait(timeout=WITHIN_S)

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if error is not None and self.log.exists():
            print(self.log.read_text(errors="replace")[-4000:])
        self.kill()


def wait_until(is_so: Callable[[], bool], *, within_s: float = WITHIN_S, every_s: float = 0.02) -> None:
    """Wait for something that must come true."""
    give_up_at = time.monotonic() + within_s
    while not is_so():
        assert time.monotonic() < give_up_at, "it did not come true in time"
        time.sleep(every_s)


def _environment(settings: WorkerSettings) -> dict[str, str]:
    return {
        **os.environ,
        "DATABASE_URL": settings.database_url.get_secret_value(),
        "REDIS_URL": settings.redis_url.get_secret_value(),
        "BLOB_DIR": str(settings.blob_dir),
        "SIGNING_PKCS12_FILE": str(settings.signing_pkcs12_file),
        "SIGNING_PASSPHRASE_FILE": str(settings.signing_passphrase_file),
        "SIGNING_TRUST_FILE": str(settings.signing_trust_file),
        **LEASES,
    }
