"""The Celery application. Redis holds hints only: losing it loses nothing."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Any
from uuid import UUID

from celery import Celery
from kombu.connection import Connection
from kombu.entity import Queue
from kombu.exceptions import OperationalError
from redis import Redis, RedisError

from service.settings import WorkerSettings
from service.vocabulary.states import JobKind
from worker.relay import AskRoom, Hint, HintNotTakenError, QueueFullError
from worker.tasks import STEPS, task_name

_PREFIX = "acc:"
# Each hint is given again while its job is due: more of them say nothing new, and fill Redis where nobody takes any.
MOST_WAITING_HINTS = 1000


class HintQueue(StrEnum):
    """What workers wait at: ordinary jobs, and those that read a file which somebody else made."""

    ORDINARY = "ordinary"
    FOREIGN = "foreign"


_FOREIGN_KINDS = frozenset({JobKind.CHECK_UPLOAD})
KINDS_AT: Mapping[HintQueue, frozenset[JobKind]] = MappingProxyType(
    {HintQueue.ORDINARY: frozenset(JobKind) - _FOREIGN_KINDS, HintQueue.FOREIGN: _FOREIGN_KINDS}
)


class _Connection(Connection):
    """A connection that looks for a broker that is away every few seconds, and not ever more rarely."""

    def _ensure_connection(self, *args: Any, **how: Any) -> Any:
        ensured: Any = super()._ensure_connection(*args, **{**how, "interval_start": 0.5, "interval_max": 3})  # type: ignore[no-untyped-call]
        return ensured


def make_app(settings: WorkerSettings) -> Celery:
    """Return the application on the broker that the settings name."""
    app = Celery("route_acceptance", broker=settings.redis_url.get_secret_value(), set_as_current=True)
    app.amqp.Connection = _Connection
    app.conf.update(
        # A hint needs no acknowledgement: the jobs table gives a lost one again. With one, early or late, Redis
        # restarting while all slots were taken made the library lose slots, and then wait for no hint any more.
        task_queues=[Queue(queue.value, no_ack=True) for queue in HintQueue],  # type: ignore[no-untyped-call]
        task_default_queue=HintQueue.ORDINARY.value,
        task_acks_late=False,
        # Without acknowledgements a worker would take every hint at once, and others would find none.
        worker_disable_prefetch=True,
        worker_enable_prefetch_count_reduction=False,
        task_annotations={task_name(kind): {"time_limit": step.hard_limit_s} for kind, step in STEPS.items()},
        task_ignore_result=True,
        task_serializer="json",
        accept_content=["json"],
        worker_prefetch_multiplier=1,
        worker_enable_remote_control=False,
        worker_send_task_events=False,
        worker_hijack_root_logger=False,
        worker_max_tasks_per_child=1000,
        task_publish_retry=False,
        broker_connection_retry_on_startup=True,
        broker_connection_max_retries=None,
        broker_transport_options={
            "socket_connect_timeout": 2,
            "socket_timeout": 15,
            "socket_keepalive": False,
            "health_check_interval": 10,
            "global_keyprefix": _PREFIX,
            "max_retries": 1,
            "interval_start": 0,
            "interval_max": 0.1,
        },
    )
    return app


def make_hint(app: Celery) -> Hint:
    """Return how the relay tells the workers of a job."""

    def hint(kind: JobKind, job_id: UUID) -> None:
        try:
            app.send_task(task_name(kind), args=[str(job_id)], queue=_queue_of(kind).value, retry=False)
        except (OperationalError, OSError) as error:
            raise HintNotTakenError(type(error).__name__) from error

    return hint


def make_ask_room(redis: "Redis") -> AskRoom:
    """Return how the relay learns whether the queue of some kinds answers, and has its hints taken."""

    def ask_room(kinds: frozenset[JobKind]) -> None:
        [queue] = {_queue_of(kind) for kind in kinds}
        try:
            waiting = int(redis.llen(f"{_PREFIX}{queue.value}"))
        except (RedisError, OSError) as error:
            raise HintNotTakenError(type(error).__name__) from error
        if waiting >= MOST_WAITING_HINTS:
            raise QueueFullError(f"{waiting} hints wait at the {queue.value} queue")

    return ask_room


def redis_client(settings: WorkerSettings) -> "Redis":
    """Return a client that gives up soon on a Redis that does not answer."""
    url = settings.redis_url.get_secret_value().replace("redis+socket://", "unix://", 1)
    return Redis.from_url(url, socket_timeout=5, socket_connect_timeout=2)


def _queue_of(kind: JobKind) -> HintQueue:
    return next(queue for queue, kinds in KINDS_AT.items() if kind in kinds)
