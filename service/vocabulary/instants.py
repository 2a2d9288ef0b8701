"""Times as they come in: instants with an offset, and days, each within bounds; one canonical text for an instant."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import Enum
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema

_RFC_3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ][0-2]\d:[0-5]\d:[0-6]\d(\.\d{1,9})?([Zz]|[+-][0-2]\d:[0-5]\d)", re.ASCII)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)

# Nothing that is recorded happened before the first of these, and no calibration, certificate or token runs out after
# the second: what lies outside is a clock that was never set. Both are far from where a time in UTC stops being one.
FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2100, 12, 31)
_EARLIEST = datetime(FIRST_DAY.year, FIRST_DAY.month, FIRST_DAY.day, tzinfo=UTC)
_END = datetime(LAST_DAY.year + 1, 1, 1, tzinfo=UTC)


class InstantKind(Enum):
    """What an instant is: something that happened, what another device's clock said, or an end that may be to come.

    The value says how far ahead it may lie, as the document tells it.
    """

    EVENT = "two minutes from now"
    READING = "a day from now"
    END = f"the end of {LAST_DAY}"


@dataclass(frozen=True, kw_only=True, slots=True)
class InstantOf:
    """What an instant is, as pydantic metadata: how far it may lie ahead of the service's clock follows from it.

    At the door it lies between the first and the last day; in strict mode, which is how canonical text is read, it is
    whatever was kept: earlier releases took any.
    """

    kind: InstantKind

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Take RFC 3339 text within the bounds at the door, and any time that was kept in strict mode."""
        instant = core_schema.datetime_schema(tz_constraint="aware")
        bounded = core_schema.no_info_after_validator_function(_bound_instant, instant)
        return core_schema.lax_or_strict_schema(
            core_schema.no_info_before_validator_function(_parse_instant, bounded),
            core_schema.no_info_before_validator_function(_parse_kept_instant, instant),
            serialization=core_schema.plain_serializer_function_ser_schema(
                canonical_time, return_schema=core_schema.str_schema()
            ),
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe the text, and its bounds where it is posted."""
        described = {"type": "string", "format": "date-time"}
        if handler.mode == "serialization":
            return described
        return described | {"description": f"With an offset; from {FIRST_DAY} to {self.kind.value}."}


class DayForm:
    """A day between the first and the last at the door, and any in strict mode, as pydantic metadata."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Take a day within the bounds at the door, and any that was kept in strict mode."""
        day = core_schema.date_schema()
        bounded = core_schema.no_info_after_validator_function(_bound_day, day)
        return core_schema.lax_or_strict_schema(
            core_schema.no_info_before_validator_function(_parse_day, bounded),
            core_schema.no_info_before_validator_function(_parse_day, day),
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe the text, and its bounds where it is posted."""
        described = {"type": "string", "format": "date"}
        if handler.mode == "serialization":
            return described
        return described | {"description": f"From {FIRST_DAY} to {LAST_DAY}."}


def canonical_time(instant: datetime) -> str:
    """Return an instant as RFC 3339 text in UTC with six places of a second."""
    try:
        utc = instant.astimezone(UTC)
    except OverflowError:
        # In years 1 and 9999 an offset may lead out of the calendar.
        utc = (datetime.min if instant.year == 1 else datetime.max).replace(tzinfo=UTC)
    return utc.strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def _parse_instant(value: object) -> datetime:
    # A number would be read as seconds since 1970, and a device that posts one has a bug worth hearing of.
    if isinstance(value, datetime):
        return value
    text = value.upper() if isinstance(value, str) and _RFC_3339.fullmatch(value) else ""
    if text[17:19] == "60":
        raise ValueError("names a leap second, which is not counted here: send second 59")
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise ValueError("must be RFC 3339 text with an offset") from None


def _parse_kept_instant(value: object) -> datetime:
    # Years before 1000 were kept without the zeros in front of them.
    if isinstance(value, str):
        year, _, rest = value.partition("-")
        return _parse_instant(f"{year.zfill(4)}-{rest}")
    return _parse_instant(value)


def _bound_instant(instant: datetime) -> datetime:
    # Two times are compared by their distance; to bring one to UTC first may lead out of the calendar.
    if instant < _EARLIEST:
        raise ValueError(f"lies before {FIRST_DAY}")
    if instant >= _END:
        raise ValueError(f"lies after {LAST_DAY}")
    # PostgreSQL takes no offset of 16 hours or more, RFC 3339 any below 24.
    return instant.astimezone(UTC)


def _bound_day(day: date) -> date:
    if not FIRST_DAY <= day <= LAST_DAY:
        raise ValueError(f"must lie between {FIRST_DAY} and {LAST_DAY}")
    return day


def _parse_day(value: object) -> date:
    if isinstance(value, date):
        return value
    try:
        if isinstance(value, str) and _DAY.fullmatch(value):
            return date.fromisoformat(value)
    except ValueError:
        pass
    raise ValueError("must be a date as YYYY-MM-DD")
