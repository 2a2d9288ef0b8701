"""The closed lists of words about what is agreed."""

from enum import StrEnum


class Quantity(StrEnum):
    """What a finding is about."""

    SPLICE_LOSS = "splice_loss"
    CONNECTION_LOSS = "connection_loss"
    TERMINATION_LOSS = "termination_loss"
    DIRECTION_DIFFERENCE = "direction_difference"
    REFLECTANCE = "reflectance"
    JOINT_STATISTIC = "joint_statistic"
    STRAY_LOSS = "stray_loss"
    BEND = "bend"
    SPLICE_DENSITY = "splice_density"
    LINK_ATTENUATION = "link_attenuation"
    REFERENCE_AGE = "reference_age"
    ATTENUATION_COEFFICIENT = "attenuation_coefficient"
    REEL_DIFFERENCE = "reel_difference"
    RETURN_LOSS = "return_loss"
    LENGTH = "length"
    CONTINUITY = "continuity"
    END_FACE = "end_face"
    CHROMATIC_DISPERSION = "chromatic_dispersion"
    POLARIZATION_MODE_DISPERSION = "polarization_mode_dispersion"
    WORKMANSHIP = "workmanship"
    REQUIRED_TEST = "required_test"
    TRACE_SETTINGS = "trace_settings"
    REQUIRED_RECORD = "required_record"


class Unit(StrEnum):
    """What a finding's value and limit are in."""

    DB = "dB"
    DB_PER_KM = "dB/km"
    PER_KM = "1/km"
    M = "m"
    MM = "mm"
    DEG = "deg"
    PERCENT = "%"
    H = "h"
    PS = "ps"
    PS_PER_NM = "ps/nm"
    COUNT = "count"


class Basis(StrEnum):
    """What a splice's loss is taken from: traces, or the splicer's images."""

    TRACES = "traces"
    ESTIMATE = "estimate"


class From(StrEnum):
    """From where a fibre is tested: from A, from B, from one of them whichever it is, or from both."""

    A = "a"
    B = "b"
    EITHER = "either"
    BOTH = "both"

    @property
    def directions(self) -> tuple[bool, ...]:
        """The directions that it can be about, as to whether they go from A to B."""
        return {From.A: (True,), From.B: (False,)}.get(self, (True, False))

    def covers(self, other: "From") -> bool:
        """Tell whether whoever has tested from here has tested from there."""
        return self in {other, From.BOTH} or other is From.EITHER


class Combination(StrEnum):
    """Whether of two directions their mean is limited, or the worse one."""

    MEAN = "mean"
    WORSE = "worse"


class DecisionRule(StrEnum):
    """How uncertainty enters a decision (ILAC-G8:09/2019, 4.2)."""

    SIMPLE = "simple"
    GUARDED = "guarded"
    FOUR_WAY = "four_way"


class LinkStretch(StrEnum):
    """The run of fibre that what is about a link is held over.

    The whole route from end to end; or each span, from one panel to the next, as source and meter are connected there;
    or the link as far as it is joined, which comes to the whole route in the end.
    """

    ROUTE = "route"
    SPAN = "span"
    JOINED = "joined"


class Force(StrEnum):
    """Whether a criterion decides acceptance or only informs."""

    REQUIRED = "required"
    ADVISORY = "advisory"
