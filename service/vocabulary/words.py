"""The closed lists of words, each with one meaning in code, API, pages and packages."""

from enum import StrEnum


class TokenKind(StrEnum):
    """Who holds a token, and with it what the holder may do."""

    CREW = "crew"
    CONTRACTOR = "contractor"
    ENGINEER = "engineer"
    BILLING = "billing"
    ADMINISTRATOR = "administrator"


class SiteKind(StrEnum):
    """A place where fibres are joined or end."""

    TERMINAL = "terminal"
    SPLICE_CLOSURE = "splice_closure"
    PATCH_PANEL = "patch_panel"


class Termination(StrEnum):
    """How a cable's fibre gets its connector."""

    PIGTAIL = "pigtail"
    SPLICE_ON_CONNECTOR = "splice_on_connector"
    FACTORY_CORD = "factory_cord"


class FibreAction(StrEnum):
    """What the splice plan says happens to a fibre at a site."""

    SPLICED = "spliced"
    UNCUT = "uncut"
    STORED = "stored"
    TERMINATED = "terminated"


class JointKind(StrEnum):
    """A fusion splice, or a mated pair of connectors."""

    SPLICE = "splice"
    PAIR = "pair"


class RecordKind(StrEnum):
    """What a record says."""

    SPLICE = "splice"
    CLOSURE_STATE = "closure_state"
    OTDR = "otdr"
    ATTENUATION = "attenuation"


class ClosureState(StrEnum):
    """What was done to a closure's lid."""

    OPENED = "opened"
    SEALED = "sealed"


class EventKind(StrEnum):
    """What an OTDR calls a point on its trace."""

    NON_REFLECTIVE = "non_reflective"
    REFLECTIVE = "reflective"
    SATURATED = "saturated"
    END = "end"


class Qualifier(StrEnum):
    """Whether a reading is the value itself, or only below or above it."""

    EQ = "eq"
    LT = "lt"
    GT = "gt"


class Quantity(StrEnum):
    """What a finding is about."""

    SPLICE_LOSS = "splice_loss"
    TERMINATION_LOSS = "termination_loss"
    LINK_ATTENUATION = "link_attenuation"
    REQUIRED_TEST = "required_test"


class Force(StrEnum):
    """Whether a criterion decides acceptance or only informs."""

    REQUIRED = "required"
    ADVISORY = "advisory"


class Outcome(StrEnum):
    """What holding a value against a criterion gave."""

    CONFORMING = "conforming"
    NONCONFORMING = "nonconforming"
    UNDETERMINED = "undetermined"


class Reason(StrEnum):
    """Why a finding is undetermined."""

    NO_EVIDENCE = "no_evidence"
    ONE_DIRECTION_ONLY = "one_direction_only"
    SEALING_NOT_RECORDED = "sealing_not_recorded"
    CLOSURE_OPEN = "closure_open"
    BEFORE_SEALING = "before_sealing"
    BEFORE_REWORK = "before_rework"
    ORDER_NOT_PROVEN = "order_not_proven"
    CALIBRATION_RUN_OUT = "calibration_run_out"
    BELOW_FIBRE_ALONE = "below_fibre_alone"
    BOUND_TOO_WIDE = "bound_too_wide"
    BEYOND_REACH = "beyond_reach"
    PAIR_NOT_SEEN = "pair_not_seen"
    LENGTHS_DISAGREE = "lengths_disagree"
    BELOW_ZERO = "below_zero"
    READINGS_DISAGREE = "readings_disagree"
    AMBIGUOUS_EVENT = "ambiguous_event"
    GROUP_ONLY = "group_only"
    CORDS_CHANGED = "cords_changed"
    NO_CORD = "no_cord"
    REFERENCE_UNLIKE = "reference_unlike"
    REPLACED_OR_WITHDRAWN = "replaced_or_withdrawn"
    LENGTH_UNLIKE = "length_unlike"
    LOSS_NOT_STATED = "loss_not_stated"


class Act(StrEnum):
    """What a crew has to do to turn a finding around."""

    RE_SPLICE = "re_splice"
    SHRINK_SLEEVE = "shrink_sleeve"
    SEAL_AND_TEST = "seal_and_test"
    RETEST = "retest"
    TEST_MISSING = "test_missing"


class Standing(StrEnum):
    """Where a segment is on its way from work to money."""

    IN_PROGRESS = "in_progress"
    NONCONFORMING = "nonconforming"
    CONFORMING = "conforming"
    SUBMITTED = "submitted"
    ACCEPTED = "accepted"
    REFUSED = "refused"
