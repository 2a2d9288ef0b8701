"""Judge a file in a process of its own, within limits that grow with a file that may be a package."""

import hashlib
import os
import pickle
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import TypeAdapter

from worker.commands.issued_status import ServerAddressError
from worker.commands.page_comparison import PageComparison
from worker.commands.verify import Checked, NothingToVerifyError, check_file
from worker.limits.process import LimitReachedError, Limits, WorkEndedError, WorkFailedError, run_limited
from worker.signing.errors import SigningError
from worker.signing.foreign.bounds import MOST_FILE_BYTES, find_excess
from worker.signing.report import PackageReport

TOO_MUCH = "The file asks for more memory or time than a package of its size needs."
_MIB = 1 << 20
# Where a service is asked, the way to it may lead through these.
_NETWORK = ("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY", "NO_PROXY", "SSL_CERT_FILE", "SSL_CERT_DIR")
_ASKING_S = 25


class _Answer(NamedTuple):
    """What was found, or why nothing could be judged."""

    checked: Checked | None
    reason: str | None = None


_ANSWER = TypeAdapter(_Answer)


def check_file_in_limits(file: Path, **how: Any) -> Checked:
    """Judge a file as `check_file` does; one that asks for more than a package does is not good, and says so."""
    with _as_file(file) as regular:
        try:
            return _check(regular, **how)
        except NothingToVerifyError as error:
            raise NothingToVerifyError(str(error).replace(str(regular), str(file))) from error


@contextmanager
def _as_file(file: Path) -> Iterator[Path]:
    """Lend what comes through a pipe as a file, which a process of its own can open."""
    if not file.is_fifo():
        yield file
        return
    with tempfile.NamedTemporaryFile(suffix=".pdf") as copy, file.open("rb") as pipe:
        copy.write(pipe.read(MOST_FILE_BYTES + 1))
        copy.flush()
        yield Path(copy.name)


def _check(file: Path, **how: Any) -> Checked:
    size = _size(file)
    if size > MOST_FILE_BYTES:
        return _refused(_sha256(file), f"The file has more than {MOST_FILE_BYTES:,} bytes, which no package has.")
    # From us to ourselves; what comes back, where the file has been read, is JSON.
    asked = pickle.dumps({"file": file, **how})
    try:
        answer = run_limited(
            f"{__name__}:answer_check",
            question=None,
            files=[asked],
            limits=_limits(size, asks_server=how.get("server") is not None),
            environment=_network(),
        )
    except LimitReachedError:
        return _refused(_sha256(file), TOO_MUCH)
    except (WorkEndedError, WorkFailedError) as error:
        raise NothingToVerifyError(f"{file} could not be judged: {error}") from error
    found = _ANSWER.validate_json(answer)
    if found.checked is None:
        raise NothingToVerifyError(found.reason)
    return found.checked


def answer_check(_: Any, files: list[bytes]) -> Any:
    """Judge a file, within limits: first by its bounds, and then only if it keeps them."""
    how = pickle.loads(files[0])  # noqa: S301 - written by the process that started this one
    try:
        answer = _Answer(_out_of_bounds(how["file"]) or check_file(**how))
    except (NothingToVerifyError, ServerAddressError, SigningError) as error:
        answer = _Answer(None, str(error))
    return _ANSWER.dump_json(answer).decode()


def _out_of_bounds(file: Path) -> Checked | None:
    try:
        pdf = file.read_bytes()
    except (OSError, ValueError):
        return None
    excess = find_excess(pdf) if b"%PDF-" in pdf[:1024] else None
    return None if excess is None else _refused(hashlib.sha256(pdf).hexdigest(), f"The file {excess}")


def _refused(sha256: str, problem: str) -> Checked:
    return Checked(PackageReport(sha256=sha256, problems=(problem,)), PageComparison())


def _limits(size: int, *, asks_server: bool) -> Limits:
    """Return what judging a file may take: its pages are drawn anew, which takes the more the more there are.

    Measured: a package of 10.6 MB and 1,602 pages takes 7 s, 332 MB and half a gigabyte of addresses; 9 s and 362 MB
    where it does not begin with its drawing. The memory grows beyond a megabyte only, so that no small file takes more
    than 512 MB.
    """
    cpu_s = 5 + int(5 * max(0, size - _MIB // 2) / _MIB)
    return Limits(
        memory_bytes=480 * _MIB + 200 * max(0, size - _MIB),
        cpu_s=cpu_s,
        # By the clock there is only what would never end: a busy machine is not the file's fault.
        time_s=5 * cpu_s + (_ASKING_S if asks_server else 0),
    )


def _network() -> dict[str, str]:
    return {name: os.environ[name] for one in _NETWORK for name in (one, one.lower()) if name in os.environ}


def _size(file: Path) -> int:
    try:
        return file.stat().st_size
    except (OSError, ValueError):
        return 0


def _sha256(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
