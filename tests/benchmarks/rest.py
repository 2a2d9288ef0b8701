"""Waiting until a stack has nothing left to do: what is measured next is then measured alone."""

import time

from sqlalchemy import Engine, func, select
from sqlmodel import col

from service.storage.session import transaction
from service.storage.tables import Job
from service.storage.tables.evidence import Fibre
from service.vocabulary.states import JobState

_LOOK_AGAIN_S = 0.1
_PATIENCE_S = 120


def wait_until_at_rest(engine: Engine) -> None:
    """Wait until no job is due or being done, as long as fibres are being judged meanwhile.

    What an upload leaves behind may take a slow machine minutes; one that stands still is found all the same.
    """
    judged, give_up_at = -1, time.monotonic() + _PATIENCE_S
    while _open_jobs(engine):
        judged_now = _judged(engine)
        if judged_now != judged:
            judged, give_up_at = judged_now, time.monotonic() + _PATIENCE_S
        assert time.monotonic() < give_up_at, f"the stack judged nothing for {_PATIENCE_S} s, and still works"
        time.sleep(_LOOK_AGAIN_S)


def _open_jobs(engine: Engine) -> int:
    is_open = col(Job.state).in_([JobState.DUE.value, JobState.LEASED.value])
    with transaction(engine) as session:
        waiting: int = session.execute(select(func.count()).select_from(Job).where(is_open)).scalar_one()
    return waiting


def _judged(engine: Engine) -> int:
    with transaction(engine) as session:
        judged: int = session.execute(select(func.coalesce(func.sum(Fibre.judged_version), 0))).scalar_one()
    return judged
