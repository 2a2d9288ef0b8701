"""Kill one thing after the other, at moments spread over all that is posted."""

import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from random import Random

from tests.soak.faults.client import PATIENCE_S, Patient, Progress
from tests.soak.faults.crews import post
from tests.soak.faults.plan import CONCURRENCY, Fault, Plan
from tests.soak.faults.servers import children_of, kill, kill_backend, restart_postgres, restart_redis
from tests.soak.faults.site import SoakRoute, splice_again
from worker.demo.embedded.postgres import PostgresServer
from worker.demo.embedded.redis import RedisServer
from worker.demo.supervisor import Supervisor

_LOOK_EVERY_S = 0.01
_LONGEST_PAUSE_S = 0.5
_REDIS_AWAY_S = 1.0
_HOLD = "LOCK TABLE criteria_version IN ACCESS EXCLUSIVE MODE"
_TAKEN = (
    "SELECT count(*) FILTER (WHERE state = 'leased') >= %s"
    " AND count(*) FILTER (WHERE state = 'due' AND hinted_at IS NOT NULL) > 0 FROM job"
)


class NothingToKillError(Exception):
    """What was to be killed did not come back."""


@dataclass(kw_only=True)
class Killer:
    """Does the plan's faults, each when so many records are answered; remembers when the last of them had ended."""

    plan: Plan
    progress: Progress
    supervisor: Supervisor
    postgres: PostgresServer
    redis: RedisServer
    bursts: tuple[SoakRoute, ...]
    connect: Callable[[], Patient]
    done: Counter[Fault] = field(default_factory=Counter)
    ended_at: float = 0.0

    def work(self) -> None:
        """Do every fault of the plan, then let the crews go to their end."""
        draw = self.plan.draw("moments")
        try:
            for number, fault in enumerate(self.plan.order(), start=1):
                self.progress.await_count(number * self.plan.records // (self.plan.kills + 1))
                time.sleep(draw.uniform(0, _LONGEST_PAUSE_S))
                self._acts[fault](draw)
                self.done[fault] += 1
                self.ended_at = time.monotonic()
        finally:
            self.progress.let_go()

    @property
    def _acts(self) -> Mapping[Fault, Callable[[Random], object]]:
        return {
            Fault.API: lambda _: self._kill_part("api"),
            Fault.RELAY: lambda _: self._kill_part("relay"),
            Fault.WORKER: lambda _: self._kill_part("worker"),
            Fault.READER: lambda _: self._kill_part("reader"),
            Fault.CHILD: self._kill_child,
            Fault.REDIS: lambda draw: restart_redis(self.redis, away_s=draw.uniform(0, _REDIS_AWAY_S)),
            Fault.REDIS_FULL: self._restart_redis_under_load,
            Fault.BACKEND: lambda draw: _until(lambda: kill_backend(self.postgres, draw=draw)),
            Fault.POSTGRES: lambda _: restart_postgres(self.postgres),
        }

    def _kill_part(self, name: str) -> None:
        _until(lambda: kill(self.supervisor.pids.get(name)))

    def _kill_child(self, draw: Random) -> None:
        def kill_one() -> bool:
            children = children_of(self.supervisor.pids.get("worker"))
            return bool(children) and kill(draw.choice(children))

        _until(kill_one)

    def _restart_redis_under_load(self, draw: Random) -> None:
        with ThreadPoolExecutor(len(self.bursts)) as posting, self._every_place_taken() as await_it:
            answers = [posting.submit(self._burst, route) for route in self.bursts]
            _until(await_it)
            restart_redis(self.redis, away_s=draw.uniform(0, _REDIS_AWAY_S))
        for answer in answers:
            answer.result(timeout=PATIENCE_S)

    @contextmanager
    def _every_place_taken(self) -> Iterator[Callable[[], bool]]:
        """Hold each job that judges at its beginning; tell whether every child has one and more are hinted at."""
        with (
            self.postgres.connect(database="acceptance") as looking,
            self.postgres.connect(database="acceptance") as holding,
            holding.transaction(),
        ):
            # Judging reads the criteria and posting does not: by luck alone, a quick machine's places are seldom all
            # taken while jobs wait.
            holding.execute(_HOLD)
            yield lambda: looking.execute(_TAKEN, [CONCURRENCY]).fetchone() == (True,)

    def _burst(self, route: SoakRoute) -> None:
        client = self.connect()
        try:
            post(client, route, splice_again(route))
        finally:
            client.close()


def _until(is_done: Callable[[], bool], *, within_s: float = 60.0) -> None:
    """Try until something was there to be killed."""
    give_up_at = time.monotonic() + within_s
    while not is_done():
        if time.monotonic() > give_up_at:
            raise NothingToKillError
        time.sleep(_LOOK_EVERY_S)
