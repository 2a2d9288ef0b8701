"""What is wrong in a body, as pointers and sentences that never repeat what was sent."""

import re
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, takewhile
from typing import Any

# These messages of pydantic's quote what was sent.
_QUOTING = {
    "union_tag_invalid": "is not one of the kinds taken here",
    "union_tag_not_found": "is missing",
    "uuid_parsing": "must be a UUID",
    "datetime_from_date_parsing": "must be RFC 3339 text with an offset",
    "datetime_parsing": "must be RFC 3339 text with an offset",
    "timezone_aware": "must have an offset from UTC",
}
# Enough to see what is wrong; a body of nothing but faults would else get an answer many times its size.
MOST_FAULTS = 100
# Members have names like these. Another step is text from outside, and a pointer stops in front of it.
_MEMBER = re.compile(r"[A-Za-z0-9._-]{1,64}")
_TAGS = frozenset({"union_tag_invalid", "union_tag_not_found"})


@dataclass(frozen=True, kw_only=True)
class Fault:
    """Something wrong in a body, at an RFC 6901 pointer."""

    pointer: str
    detail: str


def faults_of(errors: Iterable[Mapping[str, Any]], *, skip: int = 0) -> list[Fault]:
    """Return a fault for each of pydantic's errors, less the first steps of a path that the sender did not write."""
    return [
        Fault(pointer=_pointer(one["loc"][skip:], one), detail=_detail(one["type"], one["msg"]))
        for one in islice(errors, MOST_FAULTS)
    ]


def faults_of_unknown(pointer: str, named: Iterable[object], *, known: Container[object], detail: str) -> list[Fault]:
    """Return a fault for each entry of a list that is none of those known."""
    return [Fault(pointer=f"{pointer}/{index}", detail=detail) for index, one in enumerate(named) if one not in known]


def pointer_to(path: Sequence[int | str]) -> str:
    """Return the RFC 6901 pointer of a path, up to a step that is no member's name."""
    return "".join(f"/{step}" for step in takewhile(lambda step: _MEMBER.fullmatch(str(step)), path))


def _pointer(path: Sequence[int | str], error: Mapping[str, Any]) -> str:
    if error["type"] in _TAGS:
        return pointer_to([*path, str(error.get("ctx", {}).get("discriminator", "kind")).strip("'")])
    return pointer_to(path)


def _detail(type_: str, message: str) -> str:
    return _QUOTING.get(type_) or message.removeprefix("Value error, ").removeprefix("Input ")
