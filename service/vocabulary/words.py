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

    ARC_CALIBRATION = "arc_calibration"
    SPLICE = "splice"
    TERMINATION = "termination"
    CLOSURE_STATE = "closure_state"
    CLEANING = "cleaning"
    END_FACE = "end_face"
    CONTINUITY = "continuity"
    OTDR = "otdr"
    ATTENUATION = "attenuation"
    RETURN_LOSS = "return_loss"
    DISPERSION = "dispersion"


class SpliceMethod(StrEnum):
    """How two fibres are joined for good, or for the time being."""

    FUSION = "fusion"
    MECHANICAL = "mechanical"


class Polish(StrEnum):
    """How a connector's end face is ground: physical contact, finer still, or at an angle."""

    PC = "pc"
    UPC = "upc"
    APC = "apc"


class Side(StrEnum):
    """Which of a connection's two end faces: the one on the fibre towards A, or towards B."""

    TOWARDS_A = "towards_a"
    TOWARDS_B = "towards_b"


class Zone(StrEnum):
    """A zone of an end face, from the middle outwards: core, cladding, adhesive, contact."""

    A = "a"
    B = "b"
    C = "c"
    D = "d"


class ReturnLossMethod(StrEnum):
    """Whether return loss was measured with steady light, or worked out from a trace by the instrument."""

    CONTINUOUS_WAVE = "continuous_wave"
    TIME_DOMAIN = "time_domain"


class FarEnd(StrEnum):
    """What ends the fibre at its far side while return loss is measured."""

    ANGLED = "angled"
    ABSORBED = "absorbed"
    OPEN = "open"


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
    CONNECTION_LOSS = "connection_loss"
    TERMINATION_LOSS = "termination_loss"
    REFLECTANCE = "reflectance"
    JOINT_STATISTIC = "joint_statistic"
    STRAY_LOSS = "stray_loss"
    BEND = "bend"
    SPLICE_DENSITY = "splice_density"
    LINK_ATTENUATION = "link_attenuation"
    ATTENUATION_COEFFICIENT = "attenuation_coefficient"
    RETURN_LOSS = "return_loss"
    LENGTH = "length"
    CONTINUITY = "continuity"
    END_FACE = "end_face"
    CHROMATIC_DISPERSION = "chromatic_dispersion"
    POLARIZATION_MODE_DISPERSION = "polarization_mode_dispersion"
    WORKMANSHIP = "workmanship"
    REQUIRED_TEST = "required_test"


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
    """What a loss is taken from.

    The mean of both directions; the worse of those there are; each of both; the splicer's images.
    """

    BIDIRECTIONAL = "bidirectional"
    ONE_WAY = "one_way"
    EACH_WAY = "each_way"
    ESTIMATE = "estimate"


class DecisionRule(StrEnum):
    """How uncertainty enters a decision (ILAC-G8:09/2019, 4.2)."""

    SIMPLE = "simple"
    GUARDED = "guarded"
    FOUR_WAY = "four_way"


class Grade(StrEnum):
    """Whether a decision stands beyond the guard band, or within it."""

    FULL = "full"
    CONDITIONAL = "conditional"


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
    BEFORE_CLEANING = "before_cleaning"
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
    ROUTE_REVERSED = "route_reversed"
    OTHER_FIBRE_LIKELIER = "other_fibre_likelier"
    REFLECTANCE_NOT_STATED = "reflectance_not_stated"
    SATURATED = "saturated"
    COEFFICIENT_NOT_STATED = "coefficient_not_stated"
    FAR_END_UNLIKE = "far_end_unlike"
    EDITION_UNLIKE = "edition_unlike"
    ZONE_NOT_INSPECTED = "zone_not_inspected"
    END_FACE_FAILED = "end_face_failed"
    WORK_NOT_STATED = "work_not_stated"
    MEMBERS_UNKNOWN = "members_unknown"


class Act(StrEnum):
    """What a crew has to do to turn a finding around."""

    FIBRES_CROSSED = "fibres_crossed"
    RE_SPLICE = "re_splice"
    SHRINK_SLEEVE = "shrink_sleeve"
    RE_TERMINATE = "re_terminate"
    LOCATE_BREAK = "locate_break"
    RELIEVE_BEND = "relieve_bend"
    CLEAN_AND_INSPECT = "clean_and_inspect"
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


class PackageStanding(StrEnum):
    """Whether later packages take the place of one: of no segment of it, of some, or of all."""

    CURRENT = "current"
    SUPERSEDED_IN_PART = "superseded_in_part"
    SUPERSEDED = "superseded"


class PackageDecision(StrEnum):
    """What the owner's engineer has said of a package's segments together, or the clock where nothing was said."""

    UNDECIDED = "undecided"
    ACCEPTED = "accepted"
    DEEMED_ACCEPTED = "deemed_accepted"
    ACCEPTED_IN_PART = "accepted_in_part"
    REFUSED = "refused"
