"""The Celery application. Redis holds hints only: losing it loses nothing."""

from uuid import UUID

from celery import Celery
from kombu.exceptions import OperationalError

import worker.tasks  # noqa: F401 - registers the tasks
from service.settings import WorkerSettings
from service.storage.jobs import JobKind
from worker.relay import Hint, HintNotTakenError


def make_app(settings: WorkerSettings) -> Celery:
    """Return the application on the broker that the settings name."""
    app = Celery("route_acceptance", broker=settings.redis_url.get_secret_value(), set_as_current=True)
    app.conf.update(
        task_ignore_result=True,
        task_serializer="json",
        accept_content=["json"],
        # Early: the jobs table, not the broker, gives a lost task again. Late acknowledgement was seen to kill the
        # worker's main process when Redis went away under a task.
        task_acks_late=False,
        # A run that outlives its lease may write nothing: a process that hangs makes room for another.
        task_time_limit=max(settings.judge_lease_s, settings.package_lease_s),
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
            "global_keyprefix": "acc:",
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
            app.send_task(f"job.{kind.value}", args=[str(job_id)], retry=False)
        except (OperationalError, OSError) as error:
            raise HintNotTakenError(type(error).__name__) from error

    return hint
