"""The process that works within limits.

It reads the question from its standard input and writes the answer to its standard output, both files.
"""

import ctypes
import errno
import importlib
import math
import os
import resource
import signal
import sys
import time
from collections.abc import Callable
from typing import Any

import orjson

OUT_OF_MEMORY, ANSWER_TOO_LONG = 81, 82
_PR_SET_PDEATHSIG = 1
_MOST_OPEN_FILES = 64


def main(arguments: list[str]) -> int:
    """Set the limits, then do the work; how it ends is told by the exit code."""
    work, (parent_pid, memory_bytes, cpu_s, answer_bytes) = arguments[0], map(int, arguments[1:])
    _die_with(parent_pid)
    module, _, function = work.partition(":")
    try:
        # Our own code is loaded first: what that takes on a slow machine is not counted against a file.
        answer = getattr(importlib.import_module(module), function)
        _set_limits(memory_bytes=memory_bytes, cpu_s=_computed_s() + cpu_s, answer_bytes=answer_bytes)
        _answer(answer)
    except MemoryError:
        return OUT_OF_MEMORY
    except OSError as error:
        if error.errno == errno.EFBIG:
            return ANSWER_TOO_LONG
        raise
    return 0


def _die_with(parent_pid: int) -> None:
    """Have the kernel end this process with the one that started it, however that ends."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    if os.getppid() != parent_pid:
        # It ended before the kernel was told.
        os._exit(1)


def _set_limits(*, memory_bytes: int, cpu_s: int, answer_bytes: int) -> None:
    # The second figure of computing is for a program that would catch the signal sent at the first.
    for what, soft, hard in (
        (resource.RLIMIT_AS, memory_bytes, memory_bytes),
        (resource.RLIMIT_CPU, cpu_s, cpu_s + 1),
        (resource.RLIMIT_FSIZE, answer_bytes, answer_bytes),
        (resource.RLIMIT_NOFILE, _MOST_OPEN_FILES, _MOST_OPEN_FILES),
        (resource.RLIMIT_CORE, 0, 0),
    ):
        # Whoever started us may have set less.
        _, most = resource.getrlimit(what)
        least = hard if most == resource.RLIM_INFINITY else min(hard, most)
        resource.setrlimit(what, (min(soft, least), least))


def _computed_s() -> int:
    return math.ceil(time.process_time())


def _answer(work: Callable[[Any, list[bytes]], Any]) -> None:
    given = sys.stdin.buffer
    asked = orjson.loads(given.readline())
    files = [given.read(size) for size in asked["sizes"]]
    found = work(asked["question"], files)
    answer = memoryview(orjson.dumps({"answer": found}))
    # Past the buffers, which would be tried once more when the process ends.
    while answer:
        answer = answer[os.write(1, answer) :]
