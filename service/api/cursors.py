"""Opaque cursors: a position in a list, bound to the list and its filters so that it fits no other."""

import base64
import binascii
from typing import TypeVar

import orjson
from pydantic import TypeAdapter, ValidationError

from service.errors import QueryInvalidError
from service.vocabulary.canonical import digest_of

DEFAULT_LIMIT = 100
MOST = 500

PositionT = TypeVar("PositionT")


def write_cursor(position: list[str | int], *, of: str) -> str:
    """Return the cursor of a position in a list that `of` names with its filters."""
    content = orjson.dumps([position, digest_of([position, of])[:16]])
    return base64.urlsafe_b64encode(content).decode().rstrip("=")


def read_cursor(cursor: str, *, of: str, form: TypeAdapter[PositionT]) -> PositionT:
    """Return the position that a cursor of this list stands for.

    The check is no secret: it finds what is foreign or broken. A forged position opens nothing that the list does not.
    """
    foreign = QueryInvalidError("The cursor is not one of this list with these filters.")
    try:
        position, check = orjson.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
        found = form.validate_python(position)
    except (binascii.Error, ValidationError, ValueError, TypeError) as error:
        raise foreign from error
    if digest_of([position, of])[:16] != check:
        raise foreign
    return found
