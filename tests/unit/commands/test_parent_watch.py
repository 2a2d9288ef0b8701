"""Parts end with the process that started them, also one that does not end when asked."""

import subprocess
import sys

_DEAF_PART = """
import os, signal, sys, time
from worker.commands.parent_watch import end_with_parent
signal.signal(signal.SIGTERM, signal.SIG_IGN)
end_with_parent(end_within_s=0.2)
child = os.fork()
if child:
    print(child, flush=True)
time.sleep(600)
"""


def test_a_part_that_does_not_hear_is_killed_with_its_children_once_its_parent_is_gone() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", _DEAF_PART], stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True
    ) as part:
        assert part.stdin is not None
        assert part.stdout is not None
        assert int(part.stdout.readline())
        part.stdin.close()
        # Ends only when the child, which holds the other copy of it, has ended too.
        assert part.stdout.read() == b""
        assert part.wait(timeout=30) == -9
