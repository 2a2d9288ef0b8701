"""The closed lists of words about what was done, measured or seen."""

from enum import StrEnum


class RecordKind(StrEnum):
    """What a record says."""

    CABLE_LAYING = "cable_laying"
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
