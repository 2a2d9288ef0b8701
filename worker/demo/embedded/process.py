"""Start a server under a keeper, so that it ends with this process however this process ends.

The wheels leave that to exit hooks of Python, which a killed process never runs.
"""

import os
import signal
import subprocess
import sys
import time
from abc import ABC, abstractmethod
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import ClassVar, Self

from worker.demo.embedded import keeper
from worker.demo.embedded.account import make_folder, server_account

_LOG_LINES_SHOWN = 15
_READY_WITHIN_S = 60.0
_LOOK_EVERY_S = 0.01


class EmbeddedServerError(RuntimeError):
    """An embedded server did not do what it was asked."""

    def __init__(self, what: str, log: Path) -> None:
        last_lines = log.read_text(errors="replace").splitlines()[-_LOG_LINES_SHOWN:] if log.exists() else []
        super().__init__("\n".join([what, *last_lines]))


class KeptServer(ABC):
    """A server that can be stopped, crashed and started again; each kind says what to run and when it answers."""

    name: ClassVar[str]
    stop_signal: ClassVar[signal.Signals] = signal.SIGTERM
    # Sent for a crash on purpose, and when this process has ended.
    crash_signal: ClassVar[signal.Signals] = signal.SIGKILL

    def __init__(self, folder: Path) -> None:
        self._account = server_account()
        self._folder = folder / self.name
        make_folder(self._folder, owner=self._account)
        self._keeper: subprocess.Popen[bytes] | None = None
        self._pid: int | None = None

    def __enter__(self) -> Self:
        """Start the server for a block, at whose end it is stopped."""
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop the server."""
        self.stop()

    @property
    def pid(self) -> int | None:
        """Return the server's process number while it is started."""
        return self._pid if self._keeper else None

    def start(self) -> None:
        """Start the server, anew if need be, and wait until it answers."""
        self.stop()
        self._run(self._arguments())
        give_up_at = time.monotonic() + _READY_WITHIN_S
        while not self._answers():
            if self._has_ended() or time.monotonic() > give_up_at:
                self.kill()
                raise EmbeddedServerError(f"{self.name} did not become ready.", self._log)
            time.sleep(_LOOK_EVERY_S)

    def stop(self) -> None:
        """Stop the server in order, if it is started."""
        self._end(keeper.STOP)

    def kill(self) -> None:
        """Stop the server as a crash would, if it is started."""
        self._end(keeper.CRASH)

    @abstractmethod
    def _arguments(self) -> list[str]:
        """Return what to run."""

    @abstractmethod
    def _answers(self) -> bool:
        """Tell whether it answers."""

    @property
    def _log(self) -> Path:
        return self._folder / f"{self.name}.log"

    def _run(self, arguments: list[str]) -> None:
        """Run a program until it is ended or ends."""
        numbers = (self._account.uid, self._account.gid, int(self.stop_signal), int(self.crash_signal))
        with self._log.open("ab") as log:
            self._keeper = _start_keeper(
                ["server", str(os.getpid()), *map(str, numbers), *arguments], folder=self._folder, stderr=log.fileno()
            )
        assert self._keeper.stdout is not None
        said = self._keeper.stdout.readline()
        if not said:
            self.kill()
            raise EmbeddedServerError(f"{arguments[0]} could not be started.", self._log)
        self._pid = int(said)

    def _run_to_its_end(self, arguments: list[str]) -> None:
        self._run(arguments)
        assert self._keeper is not None
        try:
            code = self._keeper.wait()
        finally:
            self.kill()
        if code != 0:
            raise EmbeddedServerError(f"{arguments[0]} ended with {code}.", self._log)

    def _has_ended(self) -> bool:
        return self._keeper is None or self._keeper.poll() is not None

    def _end(self, order: bytes) -> None:
        if self._keeper is not None:
            _order(self._keeper, order)
            self._keeper = None


@contextmanager
def kept_folder(folder: Path) -> Iterator[Path]:
    """Lend a folder that is removed at the end of the block, or of this process."""
    arguments = ["folder", str(os.getpid()), str(folder)]
    process = _start_keeper(arguments, folder=folder.parent, stderr=subprocess.DEVNULL)
    try:
        yield folder
    finally:
        _order(process, keeper.STOP)


# A keeper and not a death signal set here: that one is tied to the thread that started the child, only Linux has it,
# and setting it in a child that was forked beside other threads may hang.
def _start_keeper(arguments: list[str], *, folder: Path, stderr: int) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-I", "-S", keeper.__file__, *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=stderr,
        bufsize=0,
        cwd=folder,
        # Control-C in a terminal reaches the whole foreground group: the servers must outlive it until we stop them.
        start_new_session=True,
    )


def _order(process: "subprocess.Popen[bytes]", order: bytes) -> None:
    """Give the keeper its last order, unless it has ended already, and wait for its end."""
    assert process.stdin is not None
    assert process.stdout is not None
    with suppress(BrokenPipeError):
        process.stdin.write(order)
    process.stdin.close()
    process.wait()
    process.stdout.close()
