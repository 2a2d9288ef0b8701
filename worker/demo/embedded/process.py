"""Start a server under a keeper, so that it ends with this process however this process ends."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from worker.demo.embedded import keeper
from worker.demo.embedded.account import Account

_LOG_LINES_SHOWN = 15
_READY_WITHIN_S = 60.0
_LOOK_EVERY_S = 0.01


class EmbeddedServerError(RuntimeError):
    """An embedded server did not do what it was asked."""

    def __init__(self, what: str, log: Path) -> None:
        last_lines = log.read_text(errors="replace").splitlines()[-_LOG_LINES_SHOWN:] if log.exists() else []
        super().__init__("\n".join([what, *last_lines]))


@dataclass(frozen=True, kw_only=True)
class Command:
    """A program to keep, and how it is ended."""

    arguments: tuple[str, ...]
    folder: Path
    log: Path
    account: Account
    stop_signal: signal.Signals = signal.SIGTERM
    # Sent for a crash on purpose, and when this process has ended.
    crash_signal: signal.Signals = signal.SIGKILL

    @property
    def name(self) -> str:
        """Return the program's name."""
        return Path(self.arguments[0]).name

    @property
    def keeper_arguments(self) -> list[str]:
        """Return the command in the keeper's own words."""
        numbers = (self.account.uid, self.account.gid, int(self.stop_signal), int(self.crash_signal))
        return [*map(str, numbers), *self.arguments]


class KeptProcess:
    """A running program and its keeper."""

    def __init__(self, command: Command) -> None:
        self._command = command
        # A keeper and not a death signal set here: that one is tied to the thread that started the child, and only
        # Linux has it.
        with command.log.open("ab") as log:
            self._keeper = _start_keeper(
                ["server", str(os.getpid()), *command.keeper_arguments],
                folder=command.folder,
                stderr=log.fileno(),
            )
        said = _read_line(self._keeper)
        if not said:
            self.crash()
            raise EmbeddedServerError(f"{command.name} could not be started.", command.log)
        self.pid = int(said)

    @property
    def is_running(self) -> bool:
        """Tell whether the program has not ended yet."""
        return self._keeper.poll() is None

    def wait_until_ready(self, is_ready: Callable[[], bool]) -> None:
        """Wait until the program answers; end it if it does not."""
        give_up_at = time.monotonic() + _READY_WITHIN_S
        while not is_ready():
            if not self.is_running or time.monotonic() > give_up_at:
                self.crash()
                raise EmbeddedServerError(f"{self._command.name} did not become ready.", self._command.log)
            time.sleep(_LOOK_EVERY_S)

    def wait_for_success(self) -> None:
        """Wait until the program ends by itself."""
        try:
            code = self._keeper.wait()
        finally:
            self.crash()
        if code != 0:
            raise EmbeddedServerError(f"{self._command.name} ended with {code}.", self._command.log)

    def stop(self) -> None:
        """End the program in order, and wait for it."""
        _order(self._keeper, keeper.STOP)

    def crash(self) -> None:
        """End the program at once, and wait for it."""
        _order(self._keeper, keeper.CRASH)


class KeptServer:
    """A server that can be stopped, crashed and started again; each kind says what to run and when it answers."""

    def __init__(self) -> None:
        self._process: KeptProcess | None = None

    @property
    def pid(self) -> int | None:
        """Return the server's process number while it is started."""
        return self._process.pid if self._process else None

    def stop(self) -> None:
        """Stop the server in order, if it is started."""
        if self._process:
            self._process.stop()
            self._process = None

    def kill(self) -> None:
        """Stop the server as a crash would, if it is started."""
        if self._process:
            self._process.crash()
            self._process = None

    def _run(self, command: Command, *, answers: Callable[[], bool]) -> None:
        self.stop()
        self._process = KeptProcess(command)
        self._process.wait_until_ready(answers)


class KeptFolder:
    """A folder that is removed when this process removes it, or ends."""

    def __init__(self, folder: Path) -> None:
        self._keeper = _start_keeper(
            ["folder", str(os.getpid()), str(folder)], folder=folder.parent, stderr=subprocess.DEVNULL
        )

    def remove(self) -> None:
        """Remove the folder, and wait for it."""
        _order(self._keeper, keeper.STOP)


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


def _read_line(process: "subprocess.Popen[bytes]") -> bytes:
    assert process.stdout is not None
    return process.stdout.readline()


def _order(process: "subprocess.Popen[bytes]", order: bytes) -> None:
    """Give the keeper its last order, unless it has ended already, and wait for its end."""
    assert process.stdin is not None
    assert process.stdout is not None
    if not process.stdin.closed:
        with contextlib.suppress(BrokenPipeError):
            process.stdin.write(order)
        process.stdin.close()
    process.wait()
    process.stdout.close()
