"""The closed lists of words about what judging gives."""

from enum import StrEnum


class Grade(StrEnum):
    """Whether a decision stands beyond the guard band, or within it."""

    FULL = "full"
    CONDITIONAL = "conditional"


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
    OPENING_NOT_RECORDED = "opening_not_recorded"
    BEFORE_REWORK = "before_rework"
    WITHDRAWN_WORK = "withdrawn_work"
    BEFORE_CLEANING = "before_cleaning"
    ORDER_NOT_PROVEN = "order_not_proven"
    CALIBRATION_RUN_OUT = "calibration_run_out"
    BELOW_FIBRE_ALONE = "below_fibre_alone"
    BOUND_TOO_WIDE = "bound_too_wide"
    BEYOND_REACH = "beyond_reach"
    PAIR_NOT_SEEN = "pair_not_seen"
    LENGTHS_DISAGREE = "lengths_disagree"
    INDEX_UNLIKE = "index_unlike"
    BELOW_ZERO = "below_zero"
    READINGS_DISAGREE = "readings_disagree"
    AMBIGUOUS_EVENT = "ambiguous_event"
    GROUP_ONLY = "group_only"
    CORDS_CHANGED = "cords_changed"
    NO_CORD = "no_cord"
    REFERENCE_UNLIKE = "reference_unlike"
    REFERENCE_NOT_STATED = "reference_not_stated"
    LIMIT_NOT_STATED = "limit_not_stated"
    REPLACED_OR_WITHDRAWN = "replaced_or_withdrawn"
    LENGTH_UNLIKE = "length_unlike"
    LOSS_NOT_STATED = "loss_not_stated"
    ROUTE_REVERSED = "route_reversed"
    OTHER_FIBRE_LIKELIER = "other_fibre_likelier"
    REFLECTANCE_NOT_STATED = "reflectance_not_stated"
    SATURATED = "saturated"
    COEFFICIENT_NOT_STATED = "coefficient_not_stated"
    REEL_TEST_NOT_STATED = "reel_test_not_stated"
    FAR_END_UNLIKE = "far_end_unlike"
    EDITION_UNLIKE = "edition_unlike"
    INSPECTION_UNLIKE = "inspection_unlike"
    ZONE_NOT_INSPECTED = "zone_not_inspected"
    END_FACE_FAILED = "end_face_failed"
    WORK_NOT_FINISHED = "work_not_finished"
    WORK_NOT_STATED = "work_not_stated"
    MEMBERS_UNKNOWN = "members_unknown"
    IMPOSSIBLE_PAIR = "impossible_pair"
    TOTAL_UNLIKE_PARTS = "total_unlike_parts"
    WHOLE_UNLIKE_PARTS = "whole_unlike_parts"
    NOISE_NOT_KNOWN = "noise_not_known"
    GLASS_UNLIKE = "glass_unlike"
    END_NOT_BUILT = "end_not_built"
    LINK_NOT_JOINED = "link_not_joined"


class Act(StrEnum):
    """What a crew has to do so that findings conform, in the order in which it is done at one site.

    Splice, or give a fibre its connector, for the first time; put crossed fibres right; splice again; shrink the
    sleeve; give a new connector; find a break and splice it; lay a bent fibre anew; clean and inspect; seal; test for
    the first time; test again; post what is only not recorded. Last what no crew can do: ask the engineer.
    """

    SPLICE = "splice"
    TERMINATE = "terminate"
    FIBRES_CROSSED = "fibres_crossed"
    RE_SPLICE = "re_splice"
    SHRINK_SLEEVE = "shrink_sleeve"
    RE_TERMINATE = "re_terminate"
    LOCATE_BREAK = "locate_break"
    RELIEVE_BEND = "relieve_bend"
    CLEAN_AND_INSPECT = "clean_and_inspect"
    SEAL = "seal"
    TEST = "test"
    RETEST = "retest"
    POST_RECORD = "post_record"
    ASK_ENGINEER = "ask_engineer"
