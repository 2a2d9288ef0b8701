"""Quantities as they come in: a range, a last place, and one canonical text.

A posted quantity is a JSON number. It is kept as the integer of its last place, so that means and
limits are exact; its canonical text is a decimal string with all its places ("0.040").
"""

import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
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

from service.vocabulary.instants import DayForm, InstantKind, InstantOf

# Cc: controls and NUL; Cf: zero-width and bidirectional controls; Cs: lone surrogates, which UTF-8 refuses.
_FORBIDDEN_CATEGORIES = frozenset({"Cc", "Cf", "Cs"})
_IDENTIFIER = r"^[A-Za-z0-9._-]{1,64}$"


@dataclass(frozen=True, kw_only=True, slots=True)
class LastPlace:
    """The range and the last decimal place of a quantity, as pydantic metadata of a float or of its canonical text."""

    places: int
    low: float
    high: float

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Take a JSON number at the door and a decimal string in strict mode, which is how canonical text is read."""
        number = core_schema.float_schema(strict=True, ge=self.low, le=self.high, allow_inf_nan=False)
        if source is str:
            write_text = core_schema.no_info_after_validator_function(self._writer(), number)
            return core_schema.lax_or_strict_schema(
                write_text, core_schema.no_info_plain_validator_function(self._reader())
            )
        checked = core_schema.no_info_after_validator_function(self._check, number)
        write = core_schema.plain_serializer_function_ser_schema(
            f"%.{self.places}f".__mod__, return_schema=core_schema.str_schema()
        )
        return core_schema.lax_or_strict_schema(
            checked,
            core_schema.no_info_before_validator_function(_parse_decimal, checked),
            serialization=write,
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe the JSON number that is posted, and the decimal string that is kept."""
        if handler.mode == "serialization":
            behind_the_point = f"[.][0-9]{{{self.places}}}" if self.places else ""
            return {"type": "string", "pattern": f"^-?[0-9]+{behind_the_point}$"}
        return {"type": "number", "minimum": self.low, "maximum": self.high, "format": "double"}

    def _check(self, value: float) -> float:
        if round(value, self.places) != value:
            raise self._too_fine()
        return value + 0.0  # -0.0 becomes 0.0: one value, one canonical text

    def _writer(self) -> Callable[[float], str]:
        write, too_fine = f"%.{self.places}f".__mod__, self._too_fine

        def check_and_write(value: float) -> str:
            text = write(value + 0.0)
            if float(text) != value:
                raise too_fine()
            return text

        return check_and_write

    def _reader(self) -> Callable[[object], str]:
        low, high, check_and_write = self.low, self.high, self._writer()

        # One call of Python for each number of a route's hundred thousand events, and not one for each check.
        def read(value: object) -> str:
            number = _parse_decimal(value)
            if not low <= number <= high:
                raise ValueError(f"must be from {low:g} to {high:g}")
            return check_and_write(number)

        return read

    def _too_fine(self) -> ValueError:
        return ValueError(f"has more than {self.places} decimal places, the last place that is kept")


class Value(BaseModel):
    """A value from outside: unknown members are refused, and it never changes once made."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


ValueT = TypeVar("ValueT", bound=Value)

UM_PER_CM, UM_PER_M, UM_PER_KM = 10_000, 1_000_000, 1_000_000_000
# 0.001 dB in 1e-12 dB, which is what 0.001 dB/km comes to over 1 um of fibre.
PDB_PER_MDB = 1_000_000_000


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


def _parse_decimal(value: object) -> float:
    if not isinstance(value, str):
        raise ValueError("must be a decimal string")
    return float(value)


def _text_of(most: int) -> AfterValidator:
    """Return what cleans a text; its normal form may be longer than what came, and has to keep the bound as well."""

    def clean(text: str) -> str:
        text = unicodedata.normalize("NFC", text.strip())
        if any(unicodedata.category(character) in _FORBIDDEN_CATEGORIES for character in text):
            raise ValueError("holds a control, zero-width or bidirectional character")
        if not text:
            raise ValueError("is empty")
        if len(text) > most:
            raise ValueError(f"has more than {most} characters in the normal form NFC")
        return text

    return AfterValidator(clean)


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
AveragingSomeS = Annotated[float, LastPlace(places=1, low=0.1, high=3600)]
DynamicRangeDb = Annotated[float, LastPlace(places=3, low=1, high=60)]

# The same as their canonical text: for readings that come by the thousand and with which nobody reckons at the door.
LossDbText = Annotated[str, _LOSS_DB]
ReflectanceDbText = Annotated[str, _REFLECTANCE_DB]
AttenuationDbPerKmText = Annotated[str, LastPlace(places=3, low=-10, high=10)]
LengthMText = Annotated[str, _LENGTH_M]

WavelengthNm = Annotated[int, Field(strict=True, ge=1200, le=1700)]
PulseNs = Annotated[int, Field(strict=True, ge=1, le=100_000)]
FibreNumber = Annotated[int, Field(strict=True, ge=1, le=1728)]
PortNumber = Annotated[int, Field(strict=True, ge=1, le=9999)]
TrayNumber = Annotated[int, Field(strict=True, ge=1, le=999)]
# What a number that counts rows can be: the database's integers end there.
RowNumber = Annotated[int, Field(ge=1, le=2**31 - 1)]
Flag = Annotated[bool, Field(strict=True)]
Identifier = Annotated[str, Field(pattern=_IDENTIFIER)]
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Text = Annotated[str, Field(max_length=500), _text_of(500)]
LongText = Annotated[str, Field(max_length=4000), _text_of(4000)]
Instant = Annotated[datetime, InstantOf(kind=InstantKind.EVENT)]
ClockReading = Annotated[datetime, InstantOf(kind=InstantKind.READING)]
EndInstant = Annotated[datetime, InstantOf(kind=InstantKind.END)]
Day = Annotated[date, DayForm()]
