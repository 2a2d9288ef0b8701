"""What a step works with."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import Engine

from service.settings import WorkerSettings
from service.storage.blobs import BlobStore
from worker.signing.keys import SigningKey
from worker.signing.sealing import Authorities


@dataclass(frozen=True, kw_only=True)
class StepContext:
    """The database, the files, the key, the authorities outside and the clock of one worker process."""

    engine: Engine
    blobs: BlobStore
    settings: WorkerSettings
    load_key: Callable[[], SigningKey]
    authorities: Callable[[], Authorities | None]
    trust: Sequence[bytes] = ()
    time_trust: Sequence[bytes] = ()
    clock: Callable[[], datetime] = field(kw_only=True)
