"""Quantities as they come in: a range, a last place, and one canonical text.

A posted quantity is a JSON number. It is kept as the integer of its last place, so that means and
limits are exact; its canonical text is a decimal string with all its places ("0.040").
"""

import re
import unicodedata
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import Enum
from fractions import Fraction
from typing import Annotated, Any, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
)
from pydantic_core import core_schema

from service.vocabulary.decimals import LastPlace

# Cc: controls and NUL; Cf: zero-width and bidirectional controls; Cs: lone surrogates, which UTF-8 refuses.
_FORBIDDEN_CATEGORIES = frozenset({"Cc", "Cf", "Cs"})
_RFC_3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ][0-2]\d:[0-5]\d:[0-6]\d(\.\d{1,9})?([Zz]|[+-][0-2]\d:[0-5]\d)", re.ASCII)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_IDENTIFIER = r"^[A-Za-z0-9._-]{1,64}$"


# Nothing that is recorded happened before the first of these, and no calibration, certificate or token runs out after
# the second: what lies outside is a clock that was never set. Both are far from where a time in UTC stops being one.
FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2100, 12, 31)
_EARLIEST = datetime(FIRST_DAY.year, FIRST_DAY.month, FIRST_DAY.day, tzinfo=UTC)
_END = datetime(LAST_DAY.year + 1, 1, 1, tzinfo=UTC)


class Value(BaseModel):
    """A value from outside: unknown members are refused, and it never changes once made."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


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


ValueT = TypeVar("ValueT", bound=Value)

UM_PER_CM, UM_PER_M, UM_PER_KM = 10_000, 1_000_000, 1_000_000_000
# 0.001 dB in 1e-12 dB, which is what 0.001 dB/km comes to over 1 um of fibre.
PDB_PER_MDB = 1_000_000_000


def canonical_time(instant: datetime) -> str:
    """Return an instant as RFC 3339 text in UTC with six places of a second."""
    try:
        utc = instant.astimezone(UTC)
    except OverflowError:
        # In years 1 and 9999 an offset may lead out of the calendar.
        utc = (datetime.min if instant.year == 1 else datetime.max).replace(tzinfo=UTC)
    return utc.strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def read_canonical(form: type[ValueT], text: str) -> ValueT:
    """Return the value that canonical text was made of."""
    return form.model_validate_json(text, strict=True)


def to_last_place(value: float, *, places: int) -> int:
    """Return a validated quantity as the integer of its last place."""
    scaled: int = round(value * 10**places)
    return scaled


def to_um(length_m: float) -> int:
    """Return a validated length in metres, kept to the centimetre, in micrometres."""
    return to_last_place(length_m, places=2) * UM_PER_CM


def round_half_even(value: int | Fraction, *, unit: int) -> int:
    """Return how many units a value is, rounded half to even."""
    quotient, rest = divmod(value, unit)
    if 2 * rest > unit or (2 * rest == unit and quotient % 2):
        return quotient + 1
    return quotient


def metres_text(length_um: int) -> str:
    """Write a length in metres, rounded once, half to even, to the centimetre."""
    centimetres, rest = divmod(length_um, UM_PER_CM)
    if rest:
        centimetres = round_half_even(length_um, unit=UM_PER_CM)
    return decimal_text(centimetres, places=2)


def decimal_text(value: int, *, places: int) -> str:
    """Write an integer of some last place as the decimal string that it is kept as."""
    if not places:
        return str(value)
    whole, part = divmod(abs(value), 10**places)
    return f"{'-' if value < 0 else ''}{whole}.{part:0{places}d}"


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


def _clean_text(text: str) -> str:
    text = unicodedata.normalize("NFC", text.strip())
    if any(unicodedata.category(character) in _FORBIDDEN_CATEGORIES for character in text):
        raise ValueError("holds a control, zero-width or bidirectional character")
    if not text:
        raise ValueError("is empty")
    return text


_LOSS_DB = LastPlace(places=3, low=-60, high=60)
_REFLECTANCE_DB = LastPlace(places=3, low=-120, high=0)
_LENGTH_M = LastPlace(places=2, low=0, high=1_000_000)

LossDb = Annotated[float, _LOSS_DB]
PositiveLossDb = Annotated[float, LastPlace(places=3, low=0, high=60)]
ReflectanceDb = Annotated[float, _REFLECTANCE_DB]
ReturnLossDb = Annotated[float, LastPlace(places=3, low=0, high=120)]
PositiveAttenuationDbPerKm = Annotated[float, LastPlace(places=3, low=0, high=10)]
BackscatterDb = Annotated[float, LastPlace(places=2, low=-120, high=-40)]
ThresholdDb = Annotated[float, LastPlace(places=3, low=0.001, high=5)]
LengthM = Annotated[float, _LENGTH_M]
GroupIndex = Annotated[float, LastPlace(places=5, low=1.3, high=1.6)]
AngleDeg = Annotated[float, LastPlace(places=2, low=0, high=45)]
LengthMm = Annotated[float, LastPlace(places=1, low=0, high=200)]
Percent = Annotated[float, LastPlace(places=2, low=-1, high=10)]
TemperatureC = Annotated[float, LastPlace(places=1, low=-60, high=80)]
HumidityPercent = Annotated[float, LastPlace(places=1, low=0, high=100)]
PressureHpa = Annotated[float, LastPlace(places=1, low=300, high=1100)]
AltitudeM = Annotated[float, LastPlace(places=1, low=-500, high=9000)]
SizeUm = Annotated[float, LastPlace(places=1, low=0, high=500)]
ChromaticPsPerNm = Annotated[float, LastPlace(places=2, low=-100_000, high=100_000)]
PmdPs = Annotated[float, LastPlace(places=3, low=0, high=1000)]
SharePercent = Annotated[float, LastPlace(places=2, low=0, high=100)]
DensityPerKm = Annotated[float, LastPlace(places=3, low=0, high=1000)]
Ratio = Annotated[float, LastPlace(places=2, low=1, high=100)]
AgeH = Annotated[float, LastPlace(places=1, low=0, high=100_000)]
ActualWavelengthNm = Annotated[float, LastPlace(places=1, low=800, high=1700)]
AveragingS = Annotated[float, LastPlace(places=1, low=0, high=3600)]

# The same as their canonical text: for readings that come by the thousand and with which nobody reckons at the door.
LossDbText = Annotated[str, _LOSS_DB]
ReflectanceDbText = Annotated[str, _REFLECTANCE_DB]
AttenuationDbPerKmText = Annotated[str, LastPlace(places=3, low=-10, high=10)]
LengthMText = Annotated[str, _LENGTH_M]

WavelengthNm = Annotated[int, Field(strict=True, ge=1200, le=1700)]
PulseNs = Annotated[int, Field(strict=True, ge=1, le=100_000)]
FibreNumber = Annotated[int, Field(strict=True, ge=1, le=1728)]
# What a number that counts rows can be: the database's integers end there.
RowNumber = Annotated[int, Field(ge=1, le=2**31 - 1)]
Flag = Annotated[bool, Field(strict=True)]
Identifier = Annotated[str, Field(pattern=_IDENTIFIER)]
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Text = Annotated[str, Field(max_length=500), AfterValidator(_clean_text)]
LongText = Annotated[str, Field(max_length=4000), AfterValidator(_clean_text)]
Instant = Annotated[datetime, InstantOf(kind=InstantKind.EVENT)]
ClockReading = Annotated[datetime, InstantOf(kind=InstantKind.READING)]
EndInstant = Annotated[datetime, InstantOf(kind=InstantKind.END)]
Day = Annotated[date, DayForm()]
