"""Whether the service lives, and whether it can do its work."""

from fastapi import APIRouter, Request
from sqlalchemy.exc import InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlmodel import Session

from service.api.forms import Health, Readiness
from service.errors import NotReadyError
from service.storage.session import is_off
from service.vocabulary.design.rules import Fault

router = APIRouter(prefix="/health", tags=["health"])


@router.get("/live")
async def live() -> Health:
    """Tell that the process answers."""
    return Health(status="live")


@router.get("/ready")
def ready(request: Request) -> Readiness:
    """Tell that the database answers and that this host's clock agrees with it; else 503 says which does not.

    Files that can not be kept are said, and keep nobody from posting records: every instance shares the folder.
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
