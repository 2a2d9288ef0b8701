"""A file whose age says whether a process without a port still lives."""

import threading
from pathlib import Path

_EVERY_S = 5.0


def beat(file: Path, stop: threading.Event) -> None:
    """Touch a file every few seconds until told to stop, from a thread of its own."""

    def touch() -> None:
        while not stop.wait(_EVERY_S):
            file.touch()

    file.touch()
    threading.Thread(target=touch, name="heartbeat", daemon=True).start()
