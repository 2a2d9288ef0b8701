"""What a step works with."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Engine
from sqlmodel import Session

from service.settings import WorkerSettings
from service.storage.audit import AuditEvent, NoticeDraft, append_audit
from service.storage.blobs import BlobStore
from service.storage.tables import Package
from worker.jobs.lease import Watch, do_nothing
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.sealing import Authorities


@dataclass(frozen=True, kw_only=True)
class StepContext:
    """The database, the files, the key, the authorities outside and the clock of one worker process.

    `trust` are the roots that receivers trust, and `time_trust` those of time-stamp authorities: read at each use, so
    that a file that is gone fails the job and is seen.
    `come_forward` is what a step calls wherever it has come forward: it renews the lease of the job at hand.
    """

    engine: Engine
    blobs: BlobStore
    settings: WorkerSettings
    load_key: Callable[[], SigningKey]
    authorities: Callable[[], Authorities | None]
    trust: Callable[[], Sequence[bytes]]
    time_trust: Callable[[], Sequence[bytes]]
    clock: Callable[[], datetime]
    come_forward: Callable[[], None] = do_nothing
    watch: Watch = do_nothing


def audit_package(
    session: Session,
    package: Package,
    action: str,
    *,
    content_sha256: str,
    at: datetime,
    notices: Sequence[NoticeDraft] = (),
) -> None:
    """Append the audit entry of what the worker does to a package, last before commit: the head row is locked by it."""
    event = AuditEvent(at=at, actor="worker", action=action, subject=str(package.id), content_sha256=content_sha256)
    append_audit(session, package.project_id, event, notices=notices)
