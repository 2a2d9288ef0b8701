"""Whether this host's clock may stand in what is signed."""

from datetime import timedelta

from sqlmodel import Session

from service.storage.clock import clock_offset, is_off
from worker.jobs.context import StepContext
from worker.jobs.outages import OutageError


def require_true_clock(context: StepContext) -> None:
    """Make sure that this host's clock and the database's agree: no time is signed or decided by that they do not."""
    with Session(context.engine) as session:
        offset = clock_offset(session, context.clock)
    if is_off(offset):
        raise OutageError(f"This host's clock is {offset_text(offset)} the database's: no time is stated by it.")


def offset_text(offset: timedelta) -> str:
    """Say how far a clock is from another."""
    return f"{abs(offset).total_seconds():.0f} s {'ahead of' if offset > timedelta() else 'behind'}"
