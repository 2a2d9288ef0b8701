"""Whether this host's clock may stand in what is signed."""

from collections.abc import Callable
from datetime import datetime, timedelta

from sqlalchemy import Engine, text

from service.settings import CLOCK_TOLERANCE
from worker.steps.context import StepContext
from worker.steps.outages import OutageError


def require_true_clock(context: StepContext) -> None:
    """Make sure that this host's clock and the database's agree: no time is signed or decided by that they do not."""
    offset = clock_offset(context.engine, context.clock)
    if abs(offset) > CLOCK_TOLERANCE:
        raise OutageError(f"This host's clock is {offset_text(offset)} the database's: no time is stated by it.")


def clock_offset(engine: Engine, clock: Callable[[], datetime]) -> timedelta:
    """Return by how much a clock is ahead of the database's."""
    with engine.connect() as connection:
        before = clock()
        there: datetime = connection.execute(text("SELECT clock_timestamp()")).scalar_one()
        return before + (clock() - before) / 2 - there


def offset_text(offset: timedelta) -> str:
    """Say how far a clock is from another."""
    return f"{abs(offset).total_seconds():.0f} s {'ahead of' if offset > timedelta() else 'behind'}"
