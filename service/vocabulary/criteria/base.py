"""What criteria have in common: code, clause, force, where they apply, and how uncertainty enters."""

from typing import Annotated

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.words import DecisionRule, Force, Quantity


class AppliesWhen(q.Value):
    """Where a criterion holds: in spans of these lengths of fibre, both ends included, and on these fibre types.

    A joint in a patch panel belongs to the spans on both sides, and the criterion holds if it does in either.
    """

    least_span_m: q.LengthM | None = None
    most_span_m: q.LengthM | None = None
    fibre_types: Annotated[tuple[q.Identifier, ...], Field(max_length=20)] = ()

    @model_validator(mode="after")
    def _bound_something(self) -> "AppliesWhen":
        if self.least_span_m is None and self.most_span_m is None and not self.fibre_types:
            raise ValueError("bounds nothing")
        if None not in (self.least_span_m, self.most_span_m) and self.least_span_m > self.most_span_m:  # type: ignore[operator]
            raise ValueError("least_span_m is above most_span_m")
        return self


class Criterion(q.Value):
    """What every criterion says: its code, the clause it comes from, whether it decides, and where."""

    code: q.Identifier
    quantity: Quantity
    clause: q.Text | None = None
    force: Force = Force.REQUIRED
    applies_when: AppliesWhen | None = None


class LimitedDb(Criterion):
    """A criterion with a limit in dB, and the expanded uncertainty (k = 2) that a guard band is made of."""

    wavelength_nm: q.WavelengthNm
    decision: DecisionRule = DecisionRule.SIMPLE
    uncertainty_db: q.PositiveLossDb | None = None

    @model_validator(mode="after")
    def _know_the_guard_band(self) -> "LimitedDb":
        if self.decision is not DecisionRule.SIMPLE and self.uncertainty_db is None:
            raise ValueError("a guard band needs uncertainty_db")
        return self
