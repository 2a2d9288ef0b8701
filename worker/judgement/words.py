"""How directions, tests and reasons are named: the enums of findings, and the labels of sentences."""

from service.vocabulary.findings.finding import Direction
from service.vocabulary.findings.words import Reason

DIRECTION = {True: Direction.A_TO_B, False: Direction.B_TO_A}
DIRECTION_LABELS = {True: "A to B", False: "B to A"}
TEST_LABELS = {
    "otdr": "OTDR trace",
    "attenuation": "attenuation test",
    "return_loss": "return loss test",
    "dispersion": "dispersion test",
    "continuity": "continuity test",
}

REASON_LABELS = {
    Reason.NO_EVIDENCE: "no test is there",
    Reason.ONE_DIRECTION_ONLY: "tested from one direction only",
    Reason.SEALING_NOT_RECORDED: "the closure's sealing is not recorded",
    Reason.CLOSURE_OPEN: "the closure is open",
    Reason.BEFORE_SEALING: "tested before the closure was sealed",
    Reason.OPENING_NOT_RECORDED: "the closure was sealed again since, and no opening between is recorded",
    Reason.BEFORE_REWORK: "tested before the fibre was last spliced",
    Reason.WITHDRAWN_WORK: "work since was withdrawn without the engineer's word",
    Reason.BEFORE_CLEANING: "tested before the connection was last cleaned",
    Reason.ORDER_NOT_PROVEN: "a wrong clock leaves the order of work and test unproven",
    Reason.CALIBRATION_RUN_OUT: "the instrument's calibration had run out",
    Reason.BELOW_FIBRE_ALONE: "the loss is below what the fibre alone can have",
    Reason.BOUND_TOO_WIDE: "the loss is not known closely enough",
    Reason.BEYOND_REACH: "the trace ends before it",
    Reason.PAIR_NOT_SEEN: "the trace has no event where the connection should be",
    Reason.LENGTHS_DISAGREE: "the traces from both ends do not give one length",
    Reason.INDEX_UNLIKE: "the traces from both ends were not made by the indices that they state",
    Reason.BELOW_ZERO: "the mean of both directions is below what any joint can have",
    Reason.READINGS_DISAGREE: "traces of one direction disagree",
    Reason.AMBIGUOUS_EVENT: "it is not certain which event belongs here",
    Reason.GROUP_ONLY: "only the connection and its splice together were measured",
    Reason.CORDS_CHANGED: "the cord was changed between the directions",
    Reason.NO_CORD: "no cord lay before or behind this end",
    Reason.REFERENCE_UNLIKE: "the reference method is not the one asked for",
    Reason.REFERENCE_NOT_STATED: "when the reference was taken is not stated",
    Reason.LIMIT_NOT_STATED: "the criterion states no limit for a fibre type here",
    Reason.REPLACED_OR_WITHDRAWN: "the test was replaced or withdrawn",
    Reason.LENGTH_UNLIKE: "the trace is longer than the design allows",
    Reason.LOSS_NOT_STATED: "the trace has an event here without a loss",
    Reason.ROUTE_REVERSED: "the trace fits the route from its other end",
    Reason.OTHER_FIBRE_LIKELIER: "the trace fits the splice plan of other fibres",
    Reason.REFLECTANCE_NOT_STATED: "the trace has a reflection here without a reflectance",
    Reason.SATURATED: "the reflection is cut off, so it is only known to be at least so strong",
    Reason.COEFFICIENT_NOT_STATED: "the trace states no attenuation of the fibre here",
    Reason.REEL_TEST_NOT_STATED: "the design states no reel test of the fibre here",
    Reason.FAR_END_UNLIKE: "the far end was not closed off as asked for",
    Reason.EDITION_UNLIKE: "the end face was inspected by another edition of the standard",
    Reason.INSPECTION_UNLIKE: "the inspection does not say it in the way that was agreed",
    Reason.ZONE_NOT_INSPECTED: "a zone of the end face was not inspected",
    Reason.END_FACE_FAILED: "an end face here does not conform",
    Reason.WORK_NOT_FINISHED: "the splice is not finished",
    Reason.WORK_NOT_STATED: "the splice's record does not state it",
    Reason.NOISE_NOT_KNOWN: "nothing is seen, so far from the instrument that noise may hide it",
    Reason.MEMBERS_UNKNOWN: "the loss of some joints of the population is not known",
    Reason.IMPOSSIBLE_PAIR: "no two mode fields explain how far the two directions are apart",
    Reason.TOTAL_UNLIKE_PARTS: "the trace's total is not what its events and sections add up to",
    Reason.WHOLE_UNLIKE_PARTS: "source and meter show another loss than the traces of the same fibre",
    Reason.GLASS_UNLIKE: "the fibre loses otherwise between its joints than its cable's other fibres",
    Reason.END_NOT_BUILT: "the route ends where no fibre is connected yet, so it is tested from one end alone",
    Reason.LINK_NOT_JOINED: "the link is not joined from end to end yet",
}


def at_wavelength(wavelength_nm: int | None) -> str:
    """Return the words for a wavelength, none where there is none."""
    return "" if wavelength_nm is None else f" at {wavelength_nm} nm"
