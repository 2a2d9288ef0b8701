"""What judging is given of a stored record."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, kw_only=True, slots=True)
class Evidence:
    """A stored record with what the service knows of it beside its content.

    `body` is the canonical record parsed from JSON: quantities are decimal strings with all their places, times are UTC
    text of one width, so that they compare as text.
    """

    body: Mapping[str, Any]
    is_ended: bool
    clock_is_flagged: bool
