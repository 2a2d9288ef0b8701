"""The tasks: each is a name and an id. The jobs table says whether there is anything to do, and retries."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from functools import lru_cache
from types import MappingProxyType
from uuid import UUID

from celery import shared_task as untyped_shared_task

from service.settings import WorkerSettings
from service.storage.blobs import BlobStore
from service.storage.session import make_job_engine
from service.vocabulary.states import JobKind
from worker.jobs.context import StepContext
from worker.jobs.lease import watch_process
from worker.jobs.runner import Step, run_job
from worker.sealing.signing_key import load_key_for_job
from worker.sealing.trust_services import authorities_of, time_trust_of, trust_of
from worker.steps import check_upload, countersign, deem, judge, package, settle, trial

STEPS: Mapping[JobKind, Step] = MappingProxyType(
    {
        JobKind.JUDGE: judge.STEP,
        JobKind.SETTLE: settle.STEP,
        JobKind.PACKAGE: package.STEP,
        JobKind.COUNTERSIGN: countersign.STEP,
        JobKind.TRIAL: trial.STEP,
        JobKind.DEEM: deem.STEP,
        JobKind.CHECK_UPLOAD: check_upload.STEP,
    }
)


def task_name(kind: JobKind) -> str:
    """Return what a worker's task is called that does a kind of job."""
    return f"job.{kind.value}"


def _add_task(kind: JobKind, step: Step) -> None:
    def do_job(job_id: str) -> None:
        run_job(process_context(), step, UUID(job_id))

    untyped_shared_task(do_job, name=task_name(kind), ignore_result=True)


for _kind, _step in STEPS.items():
    _add_task(_kind, _step)


@lru_cache(maxsize=1)
def process_context() -> StepContext:
    """Return what this process works with; first asked for after a fork, so that no connection is shared."""
    return replace(make_context(WorkerSettings()), watch=watch_process)


def make_context(settings: WorkerSettings) -> StepContext:
    """Return what steps work with under some settings."""
    return StepContext(
        engine=make_job_engine(settings.database_url.get_secret_value(), pool_size=2),
        blobs=BlobStore(settings.blob_dir),
        settings=settings,
        load_key=lambda: load_key_for_job(settings),
        authorities=lambda: authorities_of(settings),
        trust=lambda: trust_of(settings),
        time_trust=lambda: time_trust_of(settings),
        clock=lambda: datetime.now(UTC),
    )
