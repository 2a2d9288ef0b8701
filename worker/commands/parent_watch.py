"""End with the process that started us: it holds the other end of our standard input."""

import os
import signal
import threading
import time

_END_WITHIN_S = 10.0


def end_with_parent(*, end_within_s: float = _END_WITHIN_S) -> None:
    """Ask this process to end, as a service manager would, once its standard input is closed; then see that it does."""
    threading.Thread(target=_end_after_input, args=(end_within_s,), name="end-with-parent", daemon=True).start()


def _end_after_input(end_within_s: float) -> None:
    # Not through sys.stdin: a worker's child forked meanwhile would inherit the lock of its buffer, held for ever.
    while os.read(0, 1):
        pass
    os.kill(os.getpid(), signal.SIGTERM)
    # A worker's orderly end may wait for the broker, which has died with the parent: seen once in many runs.
    time.sleep(end_within_s)
    if os.getpgrp() == os.getpid():
        os.killpg(os.getpgrp(), signal.SIGKILL)
    os.kill(os.getpid(), signal.SIGKILL)
