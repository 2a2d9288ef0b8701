"""One private folder for everything a stack of embedded servers keeps.

The wheels leave sockets and data where they were started, for whoever runs there, and never remove them after a kill.
"""

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from worker.demo import DemoNotPossibleError
from worker.demo.embedded.account import Account, make_folder, server_account
from worker.demo.embedded.process import kept_folder

_PREFIX = "route-acceptance-"
# The kernel's field for a socket's path holds 108 bytes on Linux and 104 on macOS, one of them the closing zero.
MAXIMUM_SOCKET_PATH_BYTES = 103
_LONGEST_INSIDE = "xxxxxxxx/postgres/.s.PGSQL.5432.lock"


class NoFolderForServersError(DemoNotPossibleError):
    """No folder for temporary files is short enough and open to the servers' user."""

    def __init__(self, tried: list[Path]) -> None:
        super().__init__(
            f"None of {', '.join(map(str, tried))} can hold the servers' sockets: set TMPDIR to a folder with a short "
            "path, whose parents every user may enter."
        )


@contextmanager
def private_folder() -> Iterator[Path]:
    """Lend a folder that nobody else can enter; it is removed at the end, or by its keeper if this process dies."""
    account = server_account()
    base = _base_folder(account)
    _sweep_stale_folders(base, account)
    folder, lock = _make_locked_folder(base, account)
    try:
        with kept_folder(folder):
            yield folder
    finally:
        os.close(lock)


def _base_folder(account: Account) -> Path:
    """Choose where: a TMPDIR may be too deep for a socket, or closed to the servers' user."""
    candidates = [Path(tempfile.gettempdir()), Path("/tmp")]  # noqa: S108
    for base in candidates:
        longest = base / (_PREFIX + _LONGEST_INSIDE)
        if len(os.fsencode(longest)) <= MAXIMUM_SOCKET_PATH_BYTES and _is_open_to(account, base):
            return base
    raise NoFolderForServersError(candidates)


def _is_open_to(account: Account, base: Path) -> bool:
    if not account.is_other_user:
        return True
    real = base.resolve()
    return all(folder.stat().st_mode & 0o001 for folder in (real, *real.parents))


def _make_locked_folder(base: Path, account: Account) -> tuple[Path, int]:
    """Make a folder and hold its lock: while a live process holds it, nobody sweeps the folder."""
    while True:
        folder = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=base))
        make_folder(folder, owner=account)
        lock = _try_lock(folder)
        # Another start may have swept the folder before it was locked.
        if lock is not None and folder.exists():
            return folder, lock
        if lock is not None:
            os.close(lock)


def _sweep_stale_folders(base: Path, account: Account) -> None:
    """Remove folders whose process died together with their keeper, as in a power cut."""
    for folder in base.glob(f"{_PREFIX}*"):
        with suppress(FileNotFoundError):
            if folder.is_symlink() or folder.stat().st_uid not in {os.geteuid(), account.uid}:
                continue
            lock = _try_lock(folder)
            if lock is not None:
                shutil.rmtree(folder, ignore_errors=True)
                os.close(lock)


def _try_lock(folder: Path) -> int | None:
    """Take the folder's lock without waiting; `None` if somebody holds it or the folder is gone."""
    try:
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    except FileNotFoundError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        return None
    return descriptor
