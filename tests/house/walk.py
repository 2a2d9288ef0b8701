"""Trace a splice from its POST through the judge's step to the work list: the files whose functions run, by room.

`python -m tests.house.walk` prints them. The first splice after a start also meets what is kept from then on, such as
the route's design as it was read; a second one shows what every record meets.
"""

import functools
import gc
import sys
import threading
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from inspect import CO_OPTIMIZED
from pathlib import Path
from types import FrameType
from typing import Any, NamedTuple
from uuid import UUID

from sqlalchemy import text

from service.vocabulary.states import JobKind
from tests.benchmarks.own_world import run_own_world
from tests.world import World, describe_route, read_demo
from worker.jobs.runner import run_job
from worker.tasks import STEPS

ROOT = Path(__file__).parents[2]
HOUSE = tuple(f"{ROOT / folder}/" for folder in ("service", "worker"))


class Walk(NamedTuple):
    """The files on the way of every splice, and those on that of the first one after a start alone."""

    every_time: frozenset[Path]
    once: frozenset[Path]


def main() -> None:
    """Print the files of each room that a splice's way leads through."""
    walk = trace_splices()
    for room, names in by_room(walk.every_time).items():
        print(f"{len(names):3}  {room}: {', '.join(names)}")
    print(f"{len(walk.every_time):3}  files for every splice")
    print(f"{len(walk.once):3}  more for the first after a start: {', '.join(sorted(map(str, walk.once)))}")
    print(f"{len(walk.every_time | walk.once):3}  files in all")


def by_room(files: Iterable[Path]) -> Mapping[str, list[str]]:
    """Return the names of files by the folder they lie in."""
    rooms = defaultdict(list)
    for file in sorted(files):
        rooms[str(file.parent)].append(file.stem)
    return rooms


def trace_splices() -> Walk:
    """Post two splices that have to be made again, the first records of the demo's route, and trace each."""
    recorder = _Recorder()
    # Before the service starts: a thread takes the function along when it starts, one that runs is not reached.
    threading.setprofile(recorder)
    with run_own_world() as world:
        describe_route(world, design=read_demo("route"), criteria=read_demo("criteria"))
        world.drain()
        with world.engine.connect() as connection:
            judging: UUID = connection.execute(text("SELECT id FROM job WHERE kind = 'judge'")).scalar_one()
        _forget_what_is_kept()
        first, second = (
            recorder.record(functools.partial(_post_judge_read, world, splice, judging)) for splice in _bad_splices()
        )
    return Walk(every_time=second, once=first - second)


@dataclass
class _Recorder:
    """A profile function that keeps the files of the functions called; bodies of modules and classes are none."""

    files: set[str] | None = None

    def record(self, way: Callable[[], None]) -> frozenset[Path]:
        """Go a way, and return our files that ran on it, here and in the threads that took this along."""
        ran: set[str] = set()
        self.files = ran
        sys.setprofile(self)
        try:
            way()
        finally:
            sys.setprofile(None)
            self.files = None
        return frozenset(Path(name).relative_to(ROOT) for name in ran if name.startswith(HOUSE))

    def __call__(self, frame: FrameType, event: str, _: Any) -> None:
        if self.files is not None and event == "call" and frame.f_code.co_flags & CO_OPTIMIZED:
            self.files.add(frame.f_code.co_filename)


def _bad_splices() -> Iterator[Any]:
    for record in read_demo("01_splicing")["records"]:
        if record["kind"] == "splice" and (record["site"], record["joints"][0]["fibre"]) in {("C2", 7), ("C4", 18)}:
            yield record


def _post_judge_read(world: World, splice: Any, job_id: UUID) -> None:
    world.post_records([splice])
    run_job(world.context, STEPS[JobKind.JUDGE], job_id)
    [fibre] = [joint["fibre"] for joint in splice["joints"]]
    assert ([splice["site"]], fibre, "re_splice") in [
        (one["sites"], one["fibre"], one["act"]) for one in world.worklist()
    ]


def _forget_what_is_kept() -> None:
    for one in gc.get_objects():
        if isinstance(one, functools._lru_cache_wrapper):
            one.cache_clear()


if __name__ == "__main__":
    main()
