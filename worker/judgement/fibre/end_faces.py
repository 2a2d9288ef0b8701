"""End faces of connections: which inspection of a side counts, whether what it found is allowed, what was cleaned.

The allowances are those of IEC 61300-3-35:2015, single-mode, tables 1 and 2 as reproduced elsewhere: for a flat polish
with a return loss of at least 45 dB, and for an angled polish; the editions of 2009 and 2022 differ. Sizes are integers
of 0.1 um: a scratch's width, a defect's diameter. In zone D a defect of 10 um is allowed, none above.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.criteria.joints import EndFaceCriterion
from service.vocabulary.criteria.scope import scope_of
from service.vocabulary.criteria.words import Force, Quantity
from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading, VoidRecord
from service.vocabulary.findings.words import Outcome, Reason
from service.vocabulary.quantities import decimal_text
from service.vocabulary.records.words import Polish, Side, Zone
from worker.judgement.fibre.findings import Judgement
from worker.judgement.history.acts import CleaningAct, History
from worker.judgement.history.inspections import InspectionAct, Mark
from worker.judgement.numbers.clocks import last_of_each_clock, latest_is_proven, order_fault
from worker.judgement.traces.places import Place
from worker.judgement.words import REASON_LABELS

# Whoever has to work at a connection believes any inspection that fits.
_ANY_INSPECTION = EndFaceCriterion(code="any", quantity=Quantity.END_FACE, accepts="either")
_IMAGE_DIGITS = 12


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


# One way of saying it that leaves something open is made good by another that does not.
_WORST_FIRST = (Outcome.NONCONFORMING, Outcome.CONFORMING, Outcome.UNDETERMINED)
# Why the latest inspection of a side tells nothing of what is there now.
_ORDER_FAULTS: Mapping[Reason, str] = {
    Reason.BEFORE_REWORK: "inspected before the fibre was last terminated here",
    Reason.WITHDRAWN_WORK: "a connector given since was withdrawn without the engineer's word",
    Reason.BEFORE_CLEANING: "inspected before this side was last cleaned",
    Reason.ORDER_NOT_PROVEN: "a wrong clock leaves the order of work and inspection unproven",
}


def inspection_of(
    history: History, place: Place, pair: Joint, side: Side, *, asked: EndFaceCriterion = _ANY_INSPECTION
) -> Judgement:
    """Hold the latest inspection of one side of a pair against the standard, by what is accepted."""
    pairs = [joint for joint in place.joints if joint.kind is JointKind.PAIR]
    seen = [act for act in history.end_faces.get(place.site, ()) if act.side == side and _names(act, pair, pairs)]
    if not seen:
        return Judgement(Outcome.UNDETERMINED, Reason.NO_EVIDENCE, "no inspection is recorded")
    latest = seen[-1]
    fault = _order_fault(history, place, pair, pairs, seen)
    if fault is not None:
        void = (VoidRecord(latest.stamp.id, fault),)
        return Judgement(Outcome.UNDETERMINED, fault, _ORDER_FAULTS[fault], void=void)
    readings = (RecordReading(latest.stamp.id),)
    if latest.edition != asked.edition:
        detail = f"inspected by the edition of {latest.edition}, asked for: {asked.edition}"
        return Judgement(Outcome.UNDETERMINED, Reason.EDITION_UNLIKE, detail, readings=readings)
    return _judge_as_agreed(latest, asked)._replace(readings=readings)


def end_face_fault(history: History, place: Place, criteria: Iterable[EndFaceCriterion]) -> Reason | None:
    """Return that an end face of a place fails by some criterion, which keeps the loss behind it from being final."""
    fails = any(
        inspection_of(history, place, pair, side, asked=asked).outcome is Outcome.NONCONFORMING
        for asked in criteria
        for pair in place.joints
        if pair.kind is JointKind.PAIR
        for side in Side
    )
    return Reason.END_FACE_FAILED if fails else None


def is_clean(history: History, place: Place, pair: Joint) -> bool:
    """Tell whether a connection was cleaned and both its end faces pass: what is still wrong is the connector's."""
    passed = all(inspection_of(history, place, pair, side).outcome is Outcome.CONFORMING for side in Side)
    return passed and bool(cleanings_of(history, pair))


def cleanings_of(history: History, pair: Joint) -> Sequence[CleaningAct]:
    """Return the cleanings of a connection since it got its latest connector."""
    made = [act.stamp for act in history.terminations.get(pair.site, ()) if act.position in {None, pair.position}]
    own = [act for act in history.cleanings.get(pair.site, ()) if act.position in {None, pair.position}]
    return [act for act in own if not made or act.stamp > made[-1]]


def required_end_faces(criteria: Criteria, layout: Layout) -> Mapping[int, Sequence[EndFaceCriterion]]:
    """Return the criteria by which end faces decide acceptance, by site index."""
    by_site: dict[int, list[EndFaceCriterion]] = {}
    for criterion in criteria.criteria:
        if isinstance(criterion, EndFaceCriterion) and criterion.force is Force.REQUIRED:
            for site in scope_of(criterion, layout).joint_sites:
                by_site.setdefault(site, []).append(criterion)
    return by_site


def _names(act: InspectionAct, pair: Joint, pairs: Sequence[Joint]) -> bool:
    # One look is at one end face: where there are two connections, a record without a position names neither.
    return act.position == pair.position or (act.position is None and len(pairs) == 1)


def _order_fault(
    history: History, place: Place, pair: Joint, pairs: Sequence[Joint], seen: Sequence[InspectionAct]
) -> Reason | None:
    latest = seen[-1]
    others = {other.position for other in pairs} - {pair.position}
    # What was mated is apart when either side gets a new connector; work that names no position may have been here.
    terminated, withdrawn = (
        last_of_each_clock([act.stamp for act in acts.get(place.site, ()) if act.position not in others])
        for acts in (history.terminations, history.withdrawn_terminations)
    )
    cleanings = [act for act in history.cleanings.get(place.site, ()) if act.position not in others]
    cleaned = [act.stamp for act in cleanings if act.side == latest.side]
    return (
        order_fault(latest.stamp, terminated, Reason.BEFORE_REWORK)
        or order_fault(latest.stamp, withdrawn, Reason.WITHDRAWN_WORK)
        or order_fault(latest.stamp, last_of_each_clock(cleaned), Reason.BEFORE_CLEANING)
        or (None if latest_is_proven([act.stamp for act in seen]) else Reason.ORDER_NOT_PROVEN)
    )


def _judge_as_agreed(act: InspectionAct, asked: EndFaceCriterion) -> Judgement:
    """Return what an inspection says in the ways that are accepted: a fail in one of them is enough."""
    told: list[Judgement] = []
    if asked.accepts != "instrument" and act.zones:
        told.append(_judge_zones(act))
    if asked.accepts != "zones" and act.instrument_passed is not None:
        told.append(_judge_by_instrument(act))
    if not told:
        stated = "counts by zone" if act.zones else "the instrument's word"
        detail = f"{REASON_LABELS[Reason.INSPECTION_UNLIKE]}: it states {stated}"
        return Judgement(Outcome.UNDETERMINED, Reason.INSPECTION_UNLIKE, detail)
    return min(told, key=lambda one: _WORST_FIRST.index(one.outcome))


def _judge_by_instrument(act: InspectionAct) -> Judgement:
    image = "" if act.image_sha256 is None else f", image {act.image_sha256[:_IMAGE_DIGITS]}"
    says = f"by the instrument, edition of {act.edition}{image}"
    if act.instrument_passed:
        return Judgement(Outcome.CONFORMING, None, f"passed {says}")
    return Judgement(Outcome.NONCONFORMING, None, f"failed {says}")


def _judge_zones(act: InspectionAct) -> Judgement:
    failures = [
        failure
        for zone, limits in LIMITS[act.polish].items()
        if (seen := act.zones.get(zone)) is not None
        for name, marks, allowance in (
            ("scratches", seen.scratches, limits.scratches),
            ("defects", seen.defects, limits.defects),
        )
        for failure in _failures(zone, name, marks, allowance)
    ]
    if failures:
        return Judgement(Outcome.NONCONFORMING, None, "; ".join(failures))
    missing = [zone.value.upper() for zone in Zone if zone not in act.zones]
    if missing:
        detail = f"not inspected: zone {', '.join(missing)}"
        return Judgement(Outcome.UNDETERMINED, Reason.ZONE_NOT_INSPECTED, detail)
    return Judgement(Outcome.CONFORMING, None, f"every zone keeps its limits for a polish of {act.polish.value}")


def _failures(zone: Zone, name: str, marks: Sequence[Mark], allowance: Allowance) -> Iterator[str]:
    where, great, counted = f"zone {zone.value.upper()}", [], []
    for mark in marks:
        if allowance.greatest is not None and mark.size_tenth_um > allowance.greatest:
            great.append(mark)
        elif mark.size_tenth_um >= allowance.free_below:
            counted.append(mark)
    if allowance.greatest is not None and great:
        yield f"{where}: {name} {_said(great)}, none may be above {allowance.greatest / 10:.1f} um"
    if allowance.most is not None and sum(mark.seen for mark in counted) > allowance.most:
        allowed = f"at most {allowance.most} are allowed" if allowance.most else "none is allowed"
        yield f"{where}: {name} {_said(counted)}, {allowed}"


def _said(marks: Sequence[Mark]) -> str:
    return ", ".join(f"{mark.seen} of {decimal_text(mark.size_tenth_um, places=1)} um" for mark in marks)
