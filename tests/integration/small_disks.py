"""A disk of a few hundred kilobytes, really mounted, for what has to happen when it is full or may not be written."""

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.outside_tools import leave_out


@contextmanager
def small_disk(folder: Path, *, size_bytes: int) -> Iterator[Path]:
    """Mount an empty disk while the block runs."""
    folder.mkdir()
    mounted = _run("mount", "-t", "tmpfs", "-o", f"size={size_bytes}", "small", str(folder))
    if mounted.returncode != 0:
        leave_out(f"no disk may be mounted here: a full one was not tried ({mounted.stderr.strip()})")
    try:
        yield folder
    finally:
        _run("umount", "--lazy", str(folder))


def let_read_only(folder: Path) -> None:
    """Let nobody write to the disk any more."""
    remounted = _run("mount", "-o", "remount,ro", str(folder))
    assert remounted.returncode == 0, remounted.stderr


def let_write(folder: Path) -> None:
    """Let it be written to again."""
    remounted = _run("mount", "-o", "remount,rw", str(folder))
    assert remounted.returncode == 0, remounted.stderr


def _run(*command: str) -> "subprocess.CompletedProcess[str]":
    try:
        return subprocess.run(command, check=False, capture_output=True, text=True)
    except FileNotFoundError:
        return subprocess.CompletedProcess(command, 127, "", "there is no mount")
