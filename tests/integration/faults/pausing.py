"""Stop a step between what it read and what it writes, and let something happen there."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import ModuleType

import pytest
from sqlalchemy import Engine
from sqlmodel import Session

from service.storage.session import transaction


def before_write(patch: pytest.MonkeyPatch, step: ModuleType, act: Callable[[], object]) -> None:
    """Let something happen once, after a step's next run has read and computed and before it writes."""
    pending = [act]

    @contextmanager
    def acting(engine: Engine) -> Iterator[Session]:
        if pending:
            pending.pop()()
        with transaction(engine) as session:
            yield session

    patch.setattr(step, "transaction", acting)
