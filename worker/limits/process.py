"""Start a function in a fresh process under limits, wait for its answer, and tell how it ended if there is none.

A process may be forbidden children (a task's is), so this is a program of its own and no fork. It is given no secret:
neither the environment of this one nor an open file. Its answer comes back as JSON, which nothing can be hidden in.
"""

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import IO, Any

import orjson

from worker.limits.child import ANSWER_TOO_LONG, OUT_OF_MEMORY

_ROOT = Path(__file__).parents[2]
_LOOK_EVERY_S = 0.5
_LONGEST_ERROR = 500
# The file brought down the program that read it: a stack overflowed, or a library gave up where memory ended.
_CRASHES = (signal.SIGSEGV, signal.SIGABRT, signal.SIGBUS, signal.SIGILL, signal.SIGFPE)
_ENVIRONMENT: Mapping[str, str] = MappingProxyType(
    {
        "PATH": os.defpath,
        "LC_ALL": "C.UTF-8",
        "PYTHONUTF8": "1",
        "PYTHONPATH": str(_ROOT),
        # Each thread takes address space that the limit counts.
        "OPENBLAS_NUM_THREADS": "1",
        "MALLOC_ARENA_MAX": "1",
    }
)


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What a process may take: address space, seconds of computing, seconds by the clock, and length of its answer."""

    memory_bytes: int
    cpu_s: int
    time_s: float
    answer_bytes: int = 4 << 20


class LimitReachedError(Exception):
    """The work took more than it was allowed: another attempt would end the same."""


class WorkEndedError(Exception):
    """The process was ended from outside, or the machine had no time for it: another attempt may go better."""


class WorkFailedError(Exception):
    """The function raised an error that it should have made an answer of."""


def run_limited(
    work: str,
    *,
    question: Any,
    files: Sequence[bytes] = (),
    limits: Limits,
    environment: Mapping[str, str] = MappingProxyType({}),
    progressed: Callable[[], None] | None = None,
) -> Any:
    """Return the answer of the function named `module:function` to a question, both JSON, and to files.

    `progressed` is called while the process is seen to compute, and not while it hangs.
    """
    with tempfile.TemporaryFile() as given, tempfile.TemporaryFile() as answer, tempfile.TemporaryFile() as said:
        _give(given, question, files)
        program = [sys.executable, "-P", "-s", "-m", "worker.limits"]
        settings = (os.getpid(), limits.memory_bytes, limits.cpu_s, limits.answer_bytes)
        child = subprocess.Popen(  # noqa: S603 - our own program, no shell
            [*program, work, *map(str, settings)],
            stdin=given,
            stdout=answer,
            stderr=said,
            env={**_ENVIRONMENT, **environment},
            start_new_session=True,
        )
        try:
            _wait(child, limits, progressed)
        finally:
            _kill(child)
        _tell_end(child.returncode, said)
        answer.seek(0)
        return orjson.loads(answer.read())["answer"]


def _give(given: IO[bytes], question: Any, files: Sequence[bytes]) -> None:
    given.write(orjson.dumps({"question": question, "sizes": [len(file) for file in files]}) + b"\n")
    for file in files:
        given.write(file)
    given.seek(0)


def _wait(child: "subprocess.Popen[bytes]", limits: Limits, progressed: Callable[[], None] | None) -> None:
    ends_at, computed_s = time.monotonic() + limits.time_s, 0.0
    while True:
        left_s = ends_at - time.monotonic()
        try:
            child.wait(timeout=max(0.0, min(_LOOK_EVERY_S, left_s)))
            return
        except subprocess.TimeoutExpired:
            before_s, computed_s = computed_s, _computed_s(child.pid)
        if computed_s > before_s and progressed is not None:
            progressed()
        if left_s <= 0:
            raise _late(computed_s, limits)


def _late(computed_s: float, limits: Limits) -> Exception:
    # Reading a file waits for nothing: where it hardly computed, the machine was too busy, and not the file too large.
    if computed_s < limits.cpu_s / 4:
        return WorkEndedError(f"It computed for {computed_s:.1f} s only in the {limits.time_s:g} s that it had.")
    return LimitReachedError("time")


def _computed_s(pid: int) -> float:
    """Return the seconds of computing that a process took so far; without that knowledge, more than any limit."""
    try:
        # The second field, a program's name in brackets, may hold anything.
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return float("inf")
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _kill(child: "subprocess.Popen[bytes]") -> None:
    if child.poll() is None:
        with suppress(ProcessLookupError):
            os.killpg(child.pid, signal.SIGKILL)
        child.wait()


def _tell_end(code: int, said: IO[bytes]) -> None:
    if code == 0:
        return
    if code in {OUT_OF_MEMORY, ANSWER_TOO_LONG} or -code in _CRASHES:
        raise LimitReachedError("memory")
    if -code == signal.SIGXCPU:
        raise LimitReachedError("time")
    if code < 0:
        raise WorkEndedError(f"It was ended by {signal.Signals(-code).name}.")
    said.seek(0)
    lines = said.read(1 << 20).decode(errors="replace").strip().splitlines()
    raise WorkFailedError(lines[-1][:_LONGEST_ERROR] if lines else f"It ended with {code} and said nothing.")
