"""Run a command and say what it and all that it started took: the most memory of any one process, and computing."""

import json
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, NamedTuple


class Measured(NamedTuple):
    """How a command ended, what it printed, and what it took."""

    code: int
    out: str
    err: str
    memory_mb: float
    cpu_s: float
    time_s: float


def measure(command: list[str], *, folder: Path, timeout_s: float = 120) -> Measured:
    """Run a command in a process whose children are its own alone, so that the figures are the command's."""
    program = [sys.executable, str(Path(__file__)), *command]
    done = subprocess.run(program, cwd=folder, capture_output=True, text=True, timeout=timeout_s, check=True)
    return Measured(**json.loads(done.stdout))


def _main(command: list[str]) -> dict[str, Any]:
    began_s = time.monotonic()
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    took = resource.getrusage(resource.RUSAGE_CHILDREN)
    return {
        "code": done.returncode,
        "out": done.stdout,
        "err": done.stderr,
        # Kilobytes on Linux.
        "memory_mb": took.ru_maxrss / 1024,
        "cpu_s": took.ru_utime + took.ru_stime,
        "time_s": time.monotonic() - began_s,
    }


if __name__ == "__main__":
    print(json.dumps(_main(sys.argv[1:])))
