"""A quantity's range and last decimal place, as pydantic metadata: how it is checked, and how it is written."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema


@dataclass(frozen=True, kw_only=True, slots=True)
class LastPlace:
    """The range and the last decimal place of a quantity, as pydantic metadata of a float or of its canonical text."""

    places: int
    low: float
    high: float

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Take a JSON number at the door and a decimal string in strict mode, which is how canonical text is read."""
        number = core_schema.float_schema(strict=True, ge=self.low, le=self.high, allow_inf_nan=False)
        is_text = source is str
        checked = core_schema.no_info_after_validator_function(self._writer() if is_text else self._check, number)
        write = core_schema.plain_serializer_function_ser_schema(
            f"%.{self.places}f".__mod__, return_schema=core_schema.str_schema()
        )
        return core_schema.lax_or_strict_schema(
            checked,
            core_schema.no_info_before_validator_function(_parse_decimal, checked),
            serialization=None if is_text else write,
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

    def _too_fine(self) -> ValueError:
        return ValueError(f"has more than {self.places} decimal places, the last place that is kept")


def _parse_decimal(value: object) -> float:
    if not isinstance(value, str):
        raise ValueError("must be a decimal string")
    return float(value)
