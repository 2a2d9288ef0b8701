"""An orderly stop, known to the processes that a worker forks: each gives its job back at its next step forward."""

import mmap

# Shared with every process forked after this module was imported; no lock, so that a signal's handler may write.
_FLAG = mmap.mmap(-1, 1)


class StoppingError(Exception):
    """The worker is told to stop: the job is given back, for another to take at once."""


def stop_soon() -> None:
    """Tell every process of this worker to give its job back."""
    _FLAG[0] = 1


def is_stopping() -> bool:
    """Tell whether the worker was told to stop."""
    return _FLAG[0] == 1
