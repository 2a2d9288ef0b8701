"""Whether the service lives, and whether it can do its work."""

from fastapi import APIRouter, Request
from sqlalchemy import text

from service.api.forms import Health

router = APIRouter(prefix="/health", tags=["health"])


@router.get("/live")
async def live() -> Health:
    """Tell that the process answers."""
    return Health(status="live")


@router.get("/ready")
def ready(request: Request) -> Health:
    """Tell that the database answers; without it, 503."""
    with request.app.state.engine.connect() as connection:
        connection.execute(text("SELECT 1"))
    return Health(status="ready")
