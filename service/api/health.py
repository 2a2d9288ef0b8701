"""Whether the service lives, and whether it can do its work."""

from typing import Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel
from sqlalchemy.exc import InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlmodel import Session

from service.errors import NotReadyError
from service.storage.blobs import FilesState
from service.storage.session import is_off
from service.vocabulary.validation import Fault

router = APIRouter(prefix="/health", tags=["health"])


class Health(BaseModel):
    """Whether the service answers."""

    status: str


class Readiness(BaseModel):
    """Whether the service can do its work, by what it needs; while files are not ready, records are taken as ever."""

    status: Literal["ready"]
    database: Literal["ready"]
    clock: Literal["ready"]
    files: FilesState


@router.get("/live")
async def live() -> Health:
    """Tell that the process answers."""
    return Health(status="live")


@router.get("/ready")
def ready(request: Request) -> Readiness:
    """Tell that the database answers and that this host's clock agrees with it; else 503 says which does not.

    Files that cannot be kept are reported, and stop nobody from posting records: every instance shares the folder.
    """
    state = request.app.state
    try:
        with Session(state.engine) as session:
            offset = state.clock_watch.measure(session)
    except (OperationalError, InterfaceError, PoolTimeoutError) as error:
        fault = Fault(pointer="/database", detail="does not answer")
        raise NotReadyError("Nothing works without it.", faults=[fault], headers={"Retry-After": "2"}) from error
    if is_off(offset):
        detail = f"is {offset.total_seconds():+.0f} s from the database's"
        fault = Fault(pointer="/clock", detail=detail)
        raise NotReadyError("This host's clock is wrong.", faults=[fault], headers={"Retry-After": "30"})
    return Readiness(status="ready", database="ready", clock="ready", files=state.blobs.state())
