"""Keep one server, or one folder, for exactly as long as the parent process lives.

Run by path in a bare interpreter, so standard library only:

    keeper.py server PARENT_PID UID GID STOP_SIGNAL CRASH_SIGNAL COMMAND...
    keeper.py folder PARENT_PID FOLDER

The parent holds the other end of standard input. One byte is an order, end of file means that the parent has ended.
"""

import contextlib
import ctypes
import os
import select
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import FrameType

STOP = b"s"
CRASH = b"c"
PARENT_GONE = b""

_PR_SET_PDEATHSIG = 1
_LOOK_EVERY_S = 0.25
_STOP_WITHIN_S = 30.0
_CRASH_WITHIN_S = 5.0
_REMOVE_WITHIN_S = 30.0


def main(arguments: list[str]) -> int:
    """Keep what the arguments name."""
    # A service manager signals every process at once; the parent must get its turn to stop us in order. A handler
    # and not SIG_IGN, which the server would inherit.
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, _carry_on)
    role, parent_pid, *rest = arguments
    if role == "server":
        return _keep_server(rest, parent_pid=int(parent_pid))
    return _keep_folder(Path(rest[0]), parent_pid=int(parent_pid))


def _carry_on(_number: int, _frame: FrameType | None) -> None:
    """Stay: the parent's end is what ends us."""


def _keep_server(arguments: list[str], *, parent_pid: int) -> int:
    """Start the server, obey the parent, and return the server's exit code as a shell would."""
    uid, gid, stop_signal, crash_signal = map(int, arguments[:4])
    server = _start(arguments[4:], uid=uid, gid=gid, death_signal=crash_signal)
    # Nobody reads this if the parent has just ended; the loop below sees that.
    with contextlib.suppress(BrokenPipeError):
        os.write(1, f"{server.pid}\n".encode())
    while server.poll() is None:
        order = _next_order(parent_pid=parent_pid)
        if order == STOP:
            _end(server, signal_number=stop_signal, within_s=_STOP_WITHIN_S)
        elif order in {CRASH, PARENT_GONE}:
            _end(server, signal_number=crash_signal, within_s=_CRASH_WITHIN_S)
    return server.returncode if server.returncode >= 0 else 128 - server.returncode


def _start(command: list[str], *, uid: int, gid: int, death_signal: int) -> "subprocess.Popen[bytes]":
    """Start the server as the given user, with an environment of its own."""
    changes_user = uid != os.geteuid()
    return subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=sys.stderr,
        user=uid if changes_user else None,
        group=gid if changes_user else None,
        extra_groups=[] if changes_user else None,
        env={"PATH": os.defpath, "LC_ALL": "C", "TZ": "UTC"},
        # Runs after the change of user, which would clear the death signal again. One thread here, so it is safe.
        preexec_fn=_dies_with_keeper(death_signal),  # noqa: PLW1509
    )


def _dies_with_keeper(death_signal: int) -> Callable[[], None] | None:
    """Return what makes a child die with this process even on SIGKILL, where the system can do that."""
    if sys.platform != "linux":
        return None
    prctl = ctypes.CDLL(None).prctl
    return lambda: prctl(_PR_SET_PDEATHSIG, death_signal, 0, 0, 0)


def _next_order(*, parent_pid: int) -> bytes | None:
    """Wait a moment for the parent's order; `None` when there is none."""
    readable, _, _ = select.select([0], [], [], _LOOK_EVERY_S)
    if readable:
        return os.read(0, 1)
    # A process forked from the parent may hold the pipe open after the parent has ended.
    return PARENT_GONE if os.getppid() != parent_pid else None


def _end(server: "subprocess.Popen[bytes]", *, signal_number: int, within_s: float) -> None:
    server.send_signal(signal_number)
    try:
        server.wait(timeout=within_s)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()


def _keep_folder(folder: Path, *, parent_pid: int) -> int:
    """Remove the folder when the parent says so or has ended."""
    while _next_order(parent_pid=parent_pid) is None:
        pass
    # Servers of a killed parent are dying beside us and may still write.
    give_up_at = time.monotonic() + _REMOVE_WITHIN_S
    while folder.exists() and time.monotonic() < give_up_at:
        shutil.rmtree(folder, ignore_errors=True)
        if folder.exists():
            time.sleep(0.1)
    return int(folder.exists())


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
