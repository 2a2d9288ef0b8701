"""End with the process that started us: it holds the other end of our standard input."""

import os
import signal
import threading


def end_with_parent() -> None:
    """Ask this process to end, as a service manager would, once its standard input is closed."""
    threading.Thread(target=_wait_for_end_of_input, name="end-with-parent", daemon=True).start()


def _wait_for_end_of_input() -> None:
    # Not through sys.stdin: a worker's child forked meanwhile would inherit the lock of its buffer, held for ever.
    while os.read(0, 1):
        pass
    os.kill(os.getpid(), signal.SIGTERM)
