"""Opaque cursors: a position in a list, bound to the list and its filters so that it fits no other."""

import base64
import binascii

import orjson

from service.errors import QueryInvalidError
from service.vocabulary.canonical import digest_of

DEFAULT_LIMIT = 100
MOST = 500


def write_cursor(position: list[str | int], *, of: str) -> str:
    """Return the cursor of a position in a list that `of` names with its filters."""
    content = orjson.dumps([position, digest_of([position, of])[:16]])
    return base64.urlsafe_b64encode(content).decode().rstrip("=")


def read_cursor(cursor: str, *, of: str) -> list[str | int]:
    """Return the position that a cursor of this list stands for."""
    try:
        position, check = orjson.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
    except (binascii.Error, ValueError, TypeError) as error:
        raise _foreign() from error
    if not isinstance(position, list) or digest_of([position, of])[:16] != check:
        raise _foreign()
    return position


def _foreign() -> QueryInvalidError:
    return QueryInvalidError("The cursor is not one of this list with these filters.")
