"""The tasks: each is a name and an id. The jobs table says whether there is anything to do, and retries."""

from collections.abc import Callable, Mapping
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

Task = Callable[[str], None]


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


def _task(name: str) -> Callable[[Task], Task]:
    decorate: Callable[[Task], Task] = untyped_shared_task(name=name, ignore_result=True)
    return decorate


@_task("job.judge")
def judge_route(job_id: str) -> None:
    """Judge the fibres of a route that wait."""
    run_job(process_context(), STEPS[JobKind.JUDGE], UUID(job_id))


@_task("job.settle")
def settle_route(job_id: str) -> None:
    """Settle a route."""
    run_job(process_context(), STEPS[JobKind.SETTLE], UUID(job_id))


@_task("job.package")
def make_package(job_id: str) -> None:
    """Make the signed package of a submission."""
    run_job(process_context(), STEPS[JobKind.PACKAGE], UUID(job_id))


@_task("job.countersign")
def countersign_package(job_id: str) -> None:
    """Close a decided package."""
    run_job(process_context(), STEPS[JobKind.COUNTERSIGN], UUID(job_id))


@_task("job.trial")
def try_criteria(job_id: str) -> None:
    """Try other criteria on some fibres of a route."""
    run_job(process_context(), STEPS[JobKind.TRIAL], UUID(job_id))


@_task("job.deem")
def deem_accepted(job_id: str) -> None:
    """Deem a package accepted whose time has run out."""
    run_job(process_context(), STEPS[JobKind.DEEM], UUID(job_id))


@_task("job.check_upload")
def check_uploaded_signature(job_id: str) -> None:
    """Check a file that somebody signed with a key of their own."""
    run_job(process_context(), STEPS[JobKind.CHECK_UPLOAD], UUID(job_id))


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
        load_trust=lambda: trust_of(settings),
        load_time_trust=lambda: time_trust_of(settings),
        clock=lambda: datetime.now(UTC),
    )
