"""Judging, in this process and stored in a database: one core's work, as no other process judges."""

import statistics
import time
from collections.abc import Iterator, Mapping, Sequence
from uuid import UUID

from sqlmodel import Session, select

from service.actions.invalidation import judge_again
from service.storage.jobs import state_of
from service.storage.routes import lock_route, raise_version
from service.storage.session import transaction
from service.storage.tables import Job
from service.vocabulary.states import JobKind, JobState
from tests.benchmarks.material import design_of, in_batches, readings_of, renewed, simulated
from tests.benchmarks.rows import Row, Scale, exponent_rows
from tests.world import World, describe_route
from worker.commands.processes import keep_what_is_loaded
from worker.jobs.runner import run_job
from worker.tasks import STEPS

_READINGS = readings_of(864)
_AT_MOST_S = 5
_SMALLEST = 12
_SINGLE_AT_MOST = 1.5
_SETTLE_AT_MOST_MS = 150


def record_routes(world: World, sizes: Sequence[int]) -> dict[int, UUID]:
    """Describe and record a route of each size, and judge it once, so that every cache is warm."""
    routes = {fibres: _record_route(world, fibres) for fibres in sorted({_SMALLEST, *sizes})}
    # As a worker does when it starts; and the simulation's truth is no part of a worker.
    keep_what_is_loaded()
    return routes


def measure_judging(world: World, routes: Mapping[int, UUID], scale: Scale) -> Iterator[Row]:
    """Give the rows of judging whole routes, and how the time grows with the readings."""
    seconds = {fibres: _judge_route_s(world, routes[fibres], runs=scale.judgings) for fibres in scale.fibres}
    for fibres, took_s in seconds.items():
        yield Row(
            what="judging a whole route",
            fibres=fibres,
            measured=f"{took_s:.2f} s, {readings_of(fibres) / took_s:,.0f} readings/s",
            reference=f"the time for {_READINGS:,} readings",
            figure=took_s * _READINGS / readings_of(fibres),
            unit="s",
            at_most=_AT_MOST_S,
        )
    yield from exponent_rows("judging, exponent of time on readings", seconds, runs=scale.judgings)


def measure_one_record(world: World, routes: Mapping[int, UUID], scale: Scale) -> Iterator[Row]:
    """Give the rows of one new record of one fibre, and of settling its route."""
    for fibres in scale.fibres:
        small, here, settling = [], [], []
        for _ in range(scale.single_records):
            small.append(_judge_new_record_s(world, _SMALLEST, routes[_SMALLEST]))
            _settle_s(world, routes[_SMALLEST])
            here.append(_judge_new_record_s(world, fibres, routes[fibres]))
            settling.append(_settle_s(world, routes[fibres]))
        small_ms, here_ms, settle_ms = (1000 * statistics.median(values) for values in (small, here, settling))
        yield Row(
            what="judging one new record",
            fibres=fibres,
            measured=f"{here_ms:.1f} ms",
            reference=f"on {_SMALLEST} fibres {small_ms:.1f} ms",
            figure=here_ms / small_ms,
            at_most=_SINGLE_AT_MOST,
        )
        yield Row(
            what="settling",
            fibres=fibres,
            measured=f"median of {len(settling)}",
            reference="",
            figure=settle_ms,
            unit="ms",
            at_most=_SETTLE_AT_MOST_MS,
        )


def _record_route(world: World, fibres: int) -> UUID:
    simulation, name = simulated(fibres), _name(fibres)
    route_id = describe_route(world, design=design_of(fibres, name=name), criteria=simulation.criteria)
    for batch in in_batches(renewed(record, name) for record in simulation.records()):
        assert world.post_records(batch)["failed"] == 0
    world.drain()
    return route_id


def _name(fibres: int) -> str:
    return f"judge-{fibres}"


def _judge_route_s(world: World, route_id: UUID, *, runs: int) -> float:
    """Return the shortest of several times in which all fibres were judged anew and stored."""
    return min(_judge_all_s(world, route_id) for _ in range(runs))


def _judge_all_s(world: World, route_id: UUID) -> float:
    with transaction(world.engine) as session:
        route = lock_route(session, None, route_id)
        raise_version(route)
        judge_again(session, route, None, is_urgent=False)
    return _do_job_s(world, JobKind.JUDGE, route_id)


def _judge_new_record_s(world: World, fibres: int, route_id: UUID) -> float:
    world.route_id = str(route_id)
    record = next(simulated(fibres).attenuation())
    assert world.post_records([renewed(record, _name(fibres))])["failed"] == 0
    return _do_job_s(world, JobKind.JUDGE, route_id)


def _settle_s(world: World, route_id: UUID) -> float:
    return _do_job_s(world, JobKind.SETTLE, route_id)


def _do_job_s(world: World, kind: JobKind, route_id: UUID) -> float:
    """Return how long a route's due job takes, with all the runs it needs."""
    with transaction(world.engine) as session:
        assert state_of(session, kind, route_id) is JobState.DUE
        job_id = _job_id(session, kind, route_id)
    began, state = time.perf_counter(), JobState.DUE
    while state is JobState.DUE:
        run_job(world.context, STEPS[kind], job_id)
        with transaction(world.engine) as session:
            state = state_of(session, kind, route_id)
    took_s = time.perf_counter() - began
    assert state is JobState.IDLE, state
    return took_s


def _job_id(session: Session, kind: JobKind, route_id: UUID) -> UUID:
    return session.exec(select(Job.id).where(Job.kind == kind.value, Job.subject_id == route_id)).one()
