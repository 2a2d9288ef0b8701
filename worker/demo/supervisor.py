"""Keep parts running: what has ended is started again, and what says that it does no work is ended.

It is what a service manager does for a deployment. The processes are ours, and end with us.
"""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

from worker.logs import log_into

SHORTEST_PAUSE_S, LONGEST_PAUSE_S = 0.1, 5.0
# A part that lived so long had started well: what ends it now is something new.
SETTLED_AFTER_S = 60.0
SILENT_AFTER_S = 30.0
# Until the first heartbeat: what a part needs may be starting beside it, on a machine that is busy.
BEGUN_WITHIN_S = 90.0
STOP_WITHIN_S = 20.0
# The code of a part that does not start, with a sentence as its last line.
NOT_STARTED = 2
_LOOK_EVERY_S = 0.05
_OURS = (sys.executable, "-m", "worker.commands.main")


@dataclass(frozen=True, kw_only=True)
class Plan:
    """How to run one part: a command of ours and what it is handed over.

    A part touches its heartbeat file while it works; one that has not for `silent_after_s` is ended, and one that never
    did after `begun_within_s`.
    """

    name: str
    heartbeat: Path
    arguments: Sequence[str] = ()
    descriptors: Sequence[int] = ()
    silent_after_s: float = SILENT_AFTER_S
    begun_within_s: float = BEGUN_WITHIN_S
    program: Sequence[str] = _OURS

    def command(self) -> list[str]:
        """Return the words to start it with."""
        beat = ["--heartbeat-file", str(self.heartbeat)]
        return [*self.program, self.name, "--end-with-input", *beat, *self.arguments]


class Supervisor:
    """Runs parts for a block, and tells `say` in a sentence what it had to do."""

    def __init__(
        self, plans: Sequence[Plan], *, environment: Mapping[str, str], logs: Path, say: Callable[[str], object]
    ) -> None:
        self._parts = [_Part(plan, environment=dict(environment), log=logs / f"{plan.name}.log") for plan in plans]
        self._say, self._done = say, threading.Event()
        self._watch = threading.Thread(target=self._look_after, name="supervisor", daemon=True)

    def __enter__(self) -> Self:
        """Start all parts, and a thread that looks after them."""
        try:
            for part in self._parts:
                part.start()
            self._watch.start()
        except BaseException:
            self._stop()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        """Look after nothing any more, and end all parts in order."""
        self._stop()

    def _stop(self) -> None:
        self._done.set()
        if self._watch.is_alive():
            self._watch.join()
        for part in reversed(self._parts):
            part.ask_to_end()
        give_up_at = time.monotonic() + STOP_WITHIN_S
        for part in reversed(self._parts):
            part.await_end(until=give_up_at)

    @property
    def pids(self) -> dict[str, int]:
        """Return the number of each part's main process, of those that run at this moment."""
        return {part.plan.name: pid for part in self._parts if (pid := part.pid) is not None}

    def _look_after(self) -> None:
        while not self._done.wait(_LOOK_EVERY_S):
            for part in self._parts:
                # No process to be had, a full disk under a log, a terminal that is gone: none of it ends the watch.
                with suppress(OSError, ValueError):
                    said = part.look()
                    if said is not None:
                        self._say(said)


@dataclass(kw_only=True)
class _Heartbeat:
    """When a file was last seen to change, by a clock that nobody sets."""

    file: Path
    has_begun: bool = False
    _changed_at: float = 0.0
    _written_ns: int | None = None

    def begin(self) -> None:
        self.has_begun, self._changed_at, self._written_ns = False, time.monotonic(), self._read()

    def silence_s(self) -> float:
        written_ns = self._read()
        if written_ns != self._written_ns:
            self.has_begun, self._changed_at, self._written_ns = True, time.monotonic(), written_ns
        return time.monotonic() - self._changed_at

    def _read(self) -> int | None:
        with suppress(FileNotFoundError):
            return self.file.stat().st_mtime_ns
        return None


@dataclass(kw_only=True)
class _Life:
    """One process of a part, from its start to its end."""

    process: "subprocess.Popen[bytes]"
    started_at: float = field(default_factory=time.monotonic)
    kill_at: float | None = None

    @property
    def has_ended(self) -> bool:
        """Tell whether the main process has ended; it stays a zombie, so that nobody else gets its number yet."""
        return os.waitid(os.P_PID, self.process.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None

    def signal_group(self, number: signal.Signals) -> None:
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, number)

    def collect(self) -> int:
        # Children of a part that was killed would work on beside the next one's.
        self.signal_group(signal.SIGKILL)
        code = self.process.wait()
        if self.process.stdin is not None:
            self.process.stdin.close()
        return code


class _Part:
    """One part: its process while it lives, and when to start the next."""

    def __init__(self, plan: Plan, *, environment: dict[str, str], log: Path) -> None:
        self.plan = plan
        self._environment, self._log = environment, log
        self._pause_s, self._heartbeat = SHORTEST_PAUSE_S, _Heartbeat(file=plan.heartbeat)
        self._life: _Life | None = None
        self._again_at = 0.0

    @property
    def pid(self) -> int | None:
        return None if self._life is None else self._life.process.pid

    def start(self) -> None:
        # Before there is anybody to beat: else a first beat could be taken for the last one of the process before.
        self._heartbeat.begin()
        with self._log.open("ab") as log:
            process = subprocess.Popen(
                self.plan.command(),
                env=self._environment,
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                pass_fds=self.plan.descriptors,
                # Control-C in a terminal reaches the whole group: the parts end when we end them, in order.
                start_new_session=True,
            )
        self._life = _Life(process=process)

    def look(self) -> str | None:
        """Do what is to be done, and return what is to be said of it."""
        now, life = time.monotonic(), self._life
        if life is None:
            if now >= self._again_at:
                # In case that it cannot be started at all.
                self._again_at = now + LONGEST_PAUSE_S
                self.start()
            return None
        if life.has_ended:
            return self._begin_pause(life)
        if life.kill_at is not None:
            if now >= life.kill_at:
                life.signal_group(signal.SIGKILL)
            return None
        silence_s = self._heartbeat.silence_s()
        allowed_s = self.plan.silent_after_s if self._heartbeat.has_begun else self.plan.begun_within_s
        return self._end_silent(life, silence_s) if silence_s > allowed_s else None

    def ask_to_end(self) -> None:
        if self._life is not None and not self._life.has_ended:
            self._life.process.send_signal(signal.SIGTERM)

    def await_end(self, *, until: float) -> None:
        if self._life is None:
            return
        while not self._life.has_ended and time.monotonic() < until:
            time.sleep(_LOOK_EVERY_S)
        self._life.collect()
        self._life = None

    def _begin_pause(self, life: _Life) -> str | None:
        code, lived_s = life.collect(), time.monotonic() - life.started_at
        # Longer each time, until a part has lived for a while.
        pause_s = SHORTEST_PAUSE_S if lived_s >= SETTLED_AFTER_S else self._pause_s
        self._pause_s = min(2 * pause_s, LONGEST_PAUSE_S)
        self._life, self._again_at = None, time.monotonic() + pause_s
        self._event("part.ended", code=code, lived_s=round(lived_s, 1), again_in_s=pause_s)
        if pause_s == LONGEST_PAUSE_S:
            return None
        again = f"again every {LONGEST_PAUSE_S:g} s" if 2 * pause_s >= LONGEST_PAUSE_S else "again"
        return f"{self.plan.name} has ended ({code}), and is started {again}{self._reason(code)}"

    def _reason(self, code: int) -> str:
        """Return what a part said that did not like its settings."""
        said = self._log.read_text(errors="replace").splitlines() if self._log.exists() else []
        # The last line is ours.
        reason = said[-2] if len(said) > 1 and not said[-2].startswith("{") else ""
        return f": {reason}" if code == NOT_STARTED and reason else ""

    def _end_silent(self, life: _Life, silence_s: float) -> str:
        life.process.send_signal(signal.SIGTERM)
        life.kill_at = time.monotonic() + STOP_WITHIN_S
        self._event("part.silent", silent_s=round(silence_s, 1))
        return f"{self.plan.name} has done nothing for {silence_s:.0f} s: it is ended"

    def _event(self, event: str, **facts: object) -> None:
        with suppress(OSError), self._log.open("a") as log:
            log_into(log).warning(event, part=self.plan.name, **facts)
