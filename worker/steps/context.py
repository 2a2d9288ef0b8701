"""What a step works with."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import Engine

from service.settings import WorkerSettings
from service.storage.blobs import BlobStore
from worker.signing.keys import SigningKey


@dataclass(frozen=True, kw_only=True)
class StepContext:
    """The database, the files, the key and the clock of one worker process."""

    engine: Engine
    blobs: BlobStore
    settings: WorkerSettings
    load_key: Callable[[], SigningKey]
    trust: Sequence[bytes] = ()
    clock: Callable[[], datetime] = field(kw_only=True)
