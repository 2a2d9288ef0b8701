"""The criterion about how traces are taken: what hides in a trace depends on pulse, averaging, threshold and range."""

from enum import StrEnum
from itertools import pairwise
from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.criteria.base import Tested
from service.vocabulary.criteria.words import LinkStretch, Quantity


class Statement(StrEnum):
    """What the record of a trace may leave out, and a contract can ask for."""

    GROUP_INDEX = "group_index"
    DYNAMIC_RANGE = "dynamic_range"
    LAUNCH_CORD = "launch_cord"
    RECEIVE_CORD = "receive_cord"


class PulseBound(q.Value):
    """The longest pulse for traces over so much fibre at most."""

    up_to_m: q.LengthM
    most_ns: q.PulseNs


class TraceSettingsCriterion(Tested):
    """How traces are taken at a wavelength: in each direction asked for, one of those that count keeps all of it.

    Of `pulses`, which rise in length, the first that takes in the fibre between a trace's two ends bounds it; behind
    the last none does. A range is held against the fibre with the cords, as a multiple of it. `states` are what each
    record has to say.
    """

    quantity: Literal[Quantity.TRACE_SETTINGS]
    wavelength_nm: q.WavelengthNm
    pulses: Annotated[tuple[PulseBound, ...], Field(max_length=10)] = ()
    least_averaging_s: q.AveragingS | None = None
    most_loss_threshold_db: q.ThresholdDb | None = None
    least_range_ratio: q.Ratio | None = None
    most_range_ratio: q.Ratio | None = None
    states: Annotated[tuple[Statement, ...], Field(max_length=4)] = ()

    over: ClassVar[LinkStretch] = LinkStretch.JOINED
    judged_by = "otdr"
    is_end_to_end = True

    @model_validator(mode="after")
    def _ask_for_something(self) -> "TraceSettingsCriterion":
        bounds = (self.least_averaging_s, self.most_loss_threshold_db, self.least_range_ratio, self.most_range_ratio)
        if not self.pulses and not self.states and all(bound is None for bound in bounds):
            raise ValueError("asks for nothing")
        if any(one.up_to_m >= other.up_to_m for one, other in pairwise(self.pulses)):
            raise ValueError("pulses do not rise in up_to_m")
        if len(set(self.states)) != len(self.states):
            raise ValueError("states name something twice")
        return self

    @model_validator(mode="after")
    def _order_ranges(self) -> "TraceSettingsCriterion":
        least, most = self.least_range_ratio, self.most_range_ratio
        if least is not None and most is not None and least > most:
            raise ValueError("least_range_ratio is above most_range_ratio")
        return self
