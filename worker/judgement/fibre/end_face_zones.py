"""What each zone of an end face may show by IEC 61300-3-35:2015, single-mode, as a table of it was reproduced.

The table seen is that for a flat polish with a return loss of at least 45 dB, and that for an angled polish; the
edition of 2022 differs. Sizes are integers of 0.1 um: a scratch's width, a defect's diameter.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from service.vocabulary.words import Polish, Zone

EDITION = 2015


@dataclass(frozen=True, kw_only=True, slots=True)
class Allowance:
    """How many marks of one kind a zone may show: those below `free_below` count as none, none is above `greatest`.

    `most` bounds how many lie from `free_below` to `greatest`; `None` stands for any number, or for any size.
    """

    free_below: int = 0
    greatest: int | None = None
    most: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneLimits:
    """What one zone may show."""

    scratches: Allowance
    defects: Allowance


NONE = Allowance(most=0)
ANY = Allowance()
_FEW_SMALL_DEFECTS = Allowance(free_below=20, greatest=50, most=5)
_NO_GREAT_DEFECT = Allowance(greatest=100)

# Zones by their outer diameter: A 25 um, B 115 um, C 135 um, D 250 um.
FLAT: Mapping[Zone, ZoneLimits] = {
    Zone.A: ZoneLimits(scratches=NONE, defects=NONE),
    Zone.B: ZoneLimits(scratches=Allowance(greatest=30), defects=_FEW_SMALL_DEFECTS),
    Zone.C: ZoneLimits(scratches=ANY, defects=ANY),
    Zone.D: ZoneLimits(scratches=ANY, defects=_NO_GREAT_DEFECT),
}
ANGLED: Mapping[Zone, ZoneLimits] = {
    **FLAT,
    Zone.A: ZoneLimits(scratches=Allowance(greatest=30, most=4), defects=NONE),
    Zone.B: ZoneLimits(scratches=ANY, defects=_FEW_SMALL_DEFECTS),
}
LIMITS: Mapping[Polish, Mapping[Zone, ZoneLimits]] = {Polish.PC: FLAT, Polish.UPC: FLAT, Polish.APC: ANGLED}
