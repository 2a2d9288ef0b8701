"""What stands in the objects of a PDF, as it stands there: references are not followed."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from pyhanko.pdf_utils.generic import (
    ArrayObject,
    BooleanObject,
    ByteStringObject,
    FloatObject,
    NameObject,
    NumberObject,
    TextStringObject,
)


def raw_items(array: Sequence[Any]) -> Iterator[Any]:
    """Give the items of an array, which may be references."""
    for index in range(len(array)):
        yield array.raw_get(index) if isinstance(array, ArrayObject) else array[index]


def single_value(single: Any) -> tuple[str, Any]:
    """Return a value with its kind: a name is no string, true is no number."""
    match single:
        case BooleanObject():
            return "boolean", bool(single)
        case NumberObject() | FloatObject():
            return "number", Decimal(str(single))
        case NameObject():
            return "name", str(single)
        case TextStringObject() | ByteStringObject():
            return "string", bytes(single.original_bytes)
        case _:
            return type(single).__name__, None
