"""What a project's owner and contractor agreed before measuring: an immutable, numbered set of criteria.

Every limit is a setting: published owner limits differ by a factor of three. A value equal to its limit conforms.
"""

from enum import StrEnum
from typing import Annotated

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.criteria import joints, links
from service.vocabulary.criteria.trace_settings import TraceSettingsCriterion
from service.vocabulary.criteria.voiding import Voiding
from service.vocabulary.criteria.workmanship import RequiredRecordCriterion, WorkmanshipCriterion
from service.vocabulary.quantities import LastPlace
from service.vocabulary.signatures import SignatureLevel

Days = Annotated[int, Field(strict=True, ge=1, le=365)]
LeastFibres = Annotated[int, Field(strict=True, ge=6, le=1728)]
Seconds = Annotated[int, Field(strict=True, ge=0, le=86_400)]
FibreCount = Annotated[int, Field(strict=True, ge=0, le=1728)]
Pulses = Annotated[float, LastPlace(places=1, low=0, high=50)]


class Release(StrEnum):
    """When billing hears of an accepted segment: at once, or once every segment of its route is accepted."""

    ALONE = "alone"
    WITH_ROUTE = "with_route"


class SegmentsProven(StrEnum):
    """Whether a segment is proven only with its whole route, or alone, before the link is joined from end to end.

    Alone, what is about more than the segments that are made is asked of those that are not, and of all once they are.
    """

    WITH_ROUTE = "with_route"
    ALONE = "alone"


AnyCriterion = Annotated[
    joints.SpliceLossCriterion
    | joints.ConnectionLossCriterion
    | joints.TerminationLossCriterion
    | joints.DirectionDifferenceCriterion
    | joints.ReflectanceCriterion
    | joints.JointStatisticCriterion
    | joints.StrayLossCriterion
    | joints.BendCriterion
    | joints.SpliceDensityCriterion
    | links.LinkAttenuationCriterion
    | links.ReferenceAgeCriterion
    | links.AttenuationCoefficientCriterion
    | links.ReelDifferenceCriterion
    | links.ReturnLossCriterion
    | links.LengthCriterion
    | links.ContinuityCriterion
    | joints.EndFaceCriterion
    | links.ChromaticDispersionCriterion
    | links.PolarizationModeDispersionCriterion
    | WorkmanshipCriterion
    | links.RequiredTestCriterion
    | TraceSettingsCriterion
    | RequiredRecordCriterion,
    Field(discriminator="quantity"),
]


class Placing(q.Value):
    """How far an event may lie from where the design puts its joint.

    A cable's joints may lie `off_spot_m` away where its fibres together show them there, and no other can be meant.
    Behind a reflection an instrument sees nothing for `dead_zone_pulses` times the length of its pulse in the fibre:
    metres at 10 ns, tens of metres at 100 ns, common practice. It certainly parts two splices that lie `parted_pulses`
    apart; below that it depends on the instrument, from memory.

    A joint that a trace does not show has at most the trace's threshold, and what noise may add there. Where the record
    says nothing of noise, that counts up to `unseen_within_db` of one-way loss from the port, and proves nothing behind
    it. At 15 dB, of a customary instrument (40 dB at 10 us and 180 s, SNR = 1) set to 100 ns and 30 s, noise is still
    below a threshold of 0.02 dB: about 40 km at 1310 nm, 65 km at 1550 nm. Common practice, no source.
    """

    tolerance_m: q.LengthM = 10.0
    tolerance_percent: q.Percent = 0.2
    scale_percent: q.Percent = 3.0
    off_spot_m: q.LengthM = 60.0
    dead_zone_pulses: Pulses = 3.0
    parted_pulses: Pulses = 2.2
    unseen_within_db: q.PositiveLossDb = 15.0


class Consistency(q.Value):
    """How far what is measured twice may differ before it proves nothing.

    The two directions of a splice differ by the ratio of its mode fields, which costs loss, and by how much more one
    glass scatters than the other: that explains `scattering_db` at most. The default is the greatest there is between
    ordinary glass and a core of pure silica, 0.19 and 0.165 dB/km at 1550 nm, which scattering makes nearly all of:
    half of 10 log10(0.19/0.165), from memory. `mean_db` is the uncertainty of their mean, common practice.

    A trace's own total may be `total_db` off what its events and sections add up to. Source and meter may be off a
    link's traces by the uncertainty that its criterion states and by that of a trace, `span_db` and `span_percent` of
    the loss, common practice: by the root of the sum of both squares.

    Where `least_fibres` or more are measured, one that loses `hidden_db` more than their middle between its joints, or
    by source and meter beyond its traces, or less, and more than their spread explains, has something left out. Of
    fewer, three at least, one has that loses so much more between its joints than what all sections show explains.
    """

    scattering_db: q.PositiveLossDb = 0.3
    mean_db: q.PositiveLossDb = 0.05
    total_db: q.PositiveLossDb = 0.1
    span_db: q.PositiveLossDb = 0.1
    span_percent: q.SharePercent = 3.0
    hidden_db: q.PositiveLossDb = 0.15
    least_fibres: LeastFibres = 12


class Criteria(q.Value):
    """One version of a project's criteria.

    No joint's true loss is below zero: a bidirectional mean farther below it than `mean_below_zero_db` proves nothing.
    The default is the sum of two event thresholds of 0.02 dB, common practice. As many fibres of a route as
    `dark_fibres_tolerated` may be dark and stay so: they are neither accepted nor paid, and the segments that they are
    in can be accepted without them.
    Two records of a joint are of two attempts where `least_between_attempts_s` lie between them, or the splicer's own
    sequence parts them: in less than a minute nobody breaks a splice, strips, cleaves, fuses and estimates again:
    common practice, no source.
    A splice whose latest record says that its sleeve is not shrunk, or that it failed its proof test, conforms to no
    limit, whatever it measures, where `finished_splices_only` says so.
    `cleaning_voids` says whether a connection cleaned voids what was measured through it before.
    `segments_proven` says whether a segment can conform before the link is joined.
    `release` says when billing hears of an accepted segment. A package of which everything conforms is deemed accepted
    `deemed_after_days` from its issue, unless the engineer decides or gives notice of a defect before. Packages are
    signed at `signature_level` or above, or not at all; without it, as high as the service's settings allow.
    """

    title: q.Text
    document: q.Text | None = None
    final_after_sealing: q.Flag = True
    rework_voids: Voiding = Voiding.FIBRE
    cleaning_voids: q.Flag = True
    least_between_attempts_s: Seconds = 60
    finished_splices_only: q.Flag = True
    placing: Placing = Placing()
    mean_below_zero_db: q.PositiveLossDb = 0.04
    consistency: Consistency = Consistency()
    dark_fibres_tolerated: FibreCount = 0
    segments_proven: SegmentsProven = SegmentsProven.WITH_ROUTE
    release: Release = Release.ALONE
    deemed_after_days: Days | None = None
    signature_level: SignatureLevel | None = None
    criteria: Annotated[tuple[AnyCriterion, ...], Field(min_length=1, max_length=200)]

    @model_validator(mode="after")
    def _name_each_criterion_once(self) -> "Criteria":
        codes = [criterion.code for criterion in self.criteria]
        if len(set(codes)) != len(codes):
            raise ValueError("two criteria have one code")
        return self
