"""What a limited process is asked to do in the tests of limits."""

import os
import signal
import time
from typing import Any


def echo(question: Any, files: list[bytes]) -> Any:
    return {"question": question, "sizes": [len(file) for file in files], "environment": sorted(os.environ)}


def fill_memory(_: Any, __: list[bytes]) -> Any:
    return len([bytearray(1 << 20) for _ in range(10_000)])


def compute(_: Any, __: list[bytes]) -> Any:
    while True:
        pass


def sleep(question: Any, _: list[bytes]) -> Any:
    time.sleep(question)


def crash(_: Any, __: list[bytes]) -> Any:
    os.kill(os.getpid(), signal.SIGSEGV)


def die(question: Any, _: list[bytes]) -> Any:
    os.kill(os.getpid(), question)


def fail(_: Any, __: list[bytes]) -> Any:
    raise RuntimeError("something unforeseen")


def chatter(_: Any, __: list[bytes]) -> Any:
    return "x" * (8 << 20)
