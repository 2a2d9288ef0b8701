"""What a step works with."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Engine

from service.settings import WorkerSettings
from service.storage.audit import AuditEvent
from service.storage.blobs import BlobStore
from service.storage.tables import Package
from worker.jobs.lease import Watch, do_nothing
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.sealing import Authorities


@dataclass(frozen=True, kw_only=True)
class StepContext:
    """The database, the files, the key, the authorities outside and the clock of one worker process.

    `come_forward` is what a step calls wherever it has come forward: it renews the lease of the job at hand.
    """

    engine: Engine
    blobs: BlobStore
    settings: WorkerSettings
    load_key: Callable[[], SigningKey]
    authorities: Callable[[], Authorities | None]
    load_trust: Callable[[], Sequence[bytes]]
    load_time_trust: Callable[[], Sequence[bytes]]
    clock: Callable[[], datetime]
    come_forward: Callable[[], None] = do_nothing
    watch: Watch = do_nothing

    @property
    def trust(self) -> Sequence[bytes]:
        """The roots that receivers trust: read at each use, so that a file that is gone fails the job and is seen."""
        return self.load_trust()

    @property
    def time_trust(self) -> Sequence[bytes]:
        """The roots of time-stamp authorities."""
        return self.load_time_trust()


def worker_event(package: Package, *, action: str, content_sha256: str, at: datetime) -> AuditEvent:
    """Return the audit entry of what the worker does to a package, about content with this SHA-256."""
    return AuditEvent(at=at, actor="worker", action=action, subject=str(package.id), content_sha256=content_sha256)
