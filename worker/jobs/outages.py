"""What passes by itself: such a failure is waited for, and is no attempt of the job that met it."""

import errno
from datetime import timedelta

from sqlalchemy.exc import DBAPIError

from service.storage.blobs import BlobStorageError
from service.storage.session import clock_offset, is_off, single_statement
from worker.jobs.context import StepContext
from worker.signing.errors import AuthorityError, RevocationUnknownError

# No room, over quota, read-only; a disk or a share that answers with an error.
_OF_DISKS = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO, errno.ESTALE})
# PostgreSQL, appendix A: a connection that failed; no resources, a full disk among them; a server that stops or starts.
_CLASSES_OF_DATABASES_AWAY = ("08", "53", "57P")


class OutageError(Exception):
    """Something outside the job keeps it from being done, and will pass."""


def outage_of(error: BaseException) -> str | None:
    """Say what is away, where a failure is of the kind that passes by itself."""
    match error:
        case OutageError() | AuthorityError() | RevocationUnknownError():
            return str(error)
        case BlobStorageError():
            return f"Files cannot be kept: {error}"
        case OSError(errno=number) if number in _OF_DISKS:
            return f"The disk for files takes none: {error.strerror}."
        case DBAPIError() if _is_database_away(error):
            return f"The database is away ({type(error.orig).__name__})."
        case _:
            return None


def require_true_clock(context: StepContext) -> None:
    """Make sure that this host's clock and the database's agree: no time is signed or decided by that they do not."""
    with single_statement(context.engine) as session:
        offset = clock_offset(session, context.clock)
    if is_off(offset):
        raise OutageError(f"This host's clock is {offset_text(offset)} the database's: no time is stated by it.")


def offset_text(offset: timedelta) -> str:
    """Say how far a clock is from another."""
    return f"{abs(offset).total_seconds():.0f} s {'ahead of' if offset > timedelta() else 'behind'}"


def _is_database_away(error: DBAPIError) -> bool:
    code = getattr(error.orig, "sqlstate", None)
    return error.connection_invalidated or (code or "08").startswith(_CLASSES_OF_DATABASES_AWAY)
