"""Waiting until a stack has nothing left to do: what is measured next is then measured alone."""

import time

from sqlalchemy import Engine, func, select
from sqlmodel import col

from service.storage.session import transaction
from service.storage.tables import Job
from service.vocabulary.states import JobState

_LOOK_AGAIN_S = 0.1
_PATIENCE_S = 120


def wait_until_at_rest(engine: Engine) -> None:
    """Wait until no job is due or being done."""
    give_up_at = time.monotonic() + _PATIENCE_S
    while _open_jobs(engine):
        assert time.monotonic() < give_up_at, f"the stack still works after {_PATIENCE_S} s"
        time.sleep(_LOOK_AGAIN_S)


def _open_jobs(engine: Engine) -> int:
    statement = select(func.count()).select_from(Job)
    with transaction(engine) as session:
        is_open = col(Job.state).in_([JobState.DUE.value, JobState.LEASED.value])
        waiting: int = session.execute(statement.where(is_open)).scalar_one()
    return waiting
