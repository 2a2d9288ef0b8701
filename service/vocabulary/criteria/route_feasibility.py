"""What criteria cannot be on one route: held nowhere on it, or not to be met by its design whatever is measured."""

from collections.abc import Iterator

from service.vocabulary.criteria.base import Tested
from service.vocabulary.criteria.criteria import AnyCriterion, Criteria
from service.vocabulary.criteria.joints import SpliceDensityCriterion
from service.vocabulary.criteria.links import (
    AttenuationCoefficientCriterion,
    Budget,
    FixedLimit,
    LinkAttenuationCriterion,
    ReelDifferenceCriterion,
    Stretch,
)
from service.vocabulary.criteria.review import CriteriaReport, Severity, report_on
from service.vocabulary.criteria.scope import scope_of
from service.vocabulary.criteria.selection import OfJoints, OfSections, OfSplices, is_of_type
from service.vocabulary.criteria.trace_settings import TraceSettingsCriterion
from service.vocabulary.criteria.words import DecisionRule, From, LinkStretch
from service.vocabulary.design.layout import Joint, Layout, Span
from service.vocabulary.design.words import FibreAction, SiteKind
from service.vocabulary.quantities import PDB_PER_MDB, UM_PER_KM, metres_text, to_last_place, to_um


def infeasibilities_on(criteria: Criteria, layout: Layout) -> list[CriteriaReport]:
    """Return which criteria hold nowhere on a route, or cannot be met by its design."""
    return [report for criterion in criteria.criteria for report in _infeasibilities(criterion, layout)]


def _infeasibilities(criterion: AnyCriterion, layout: Layout) -> Iterator[CriteriaReport]:
    if not _applies(criterion, layout):
        detail = "holds nowhere on this route: no span is of the length and fibre type that it asks for"
        yield report_on(criterion, severity=Severity.QUESTIONABLE, detail=detail)
        return
    if isinstance(criterion, Tested):
        yield from _from_unbuilt_end(criterion, layout)
    for detail in _not_there(criterion, layout):
        yield report_on(criterion, severity=Severity.QUESTIONABLE, detail=detail)
    match criterion:
        case LinkAttenuationCriterion(limit=FixedLimit()):
            yield from _below_fibre_alone(criterion, layout)
        case LinkAttenuationCriterion(limit=Budget() as budget):
            yield from _without_allowance(criterion, budget, layout)
        case AttenuationCoefficientCriterion():
            yield from _nowhere_long_enough(criterion, layout)
        case ReelDifferenceCriterion():
            yield from _without_reel_test(criterion, layout)
        case TraceSettingsCriterion(pulses=pulses) if pulses:
            yield from _no_pulse_bounded(criterion, layout, longest_m=pulses[-1].up_to_m)
        case SpliceDensityCriterion():
            yield from _denser_than_allowed(criterion, layout)


def _applies(criterion: AnyCriterion, layout: Layout) -> bool:
    scope = scope_of(criterion, layout)
    is_of_route = criterion.is_end_to_end and criterion.link_stretch is not LinkStretch.SPAN
    return scope.holds_end_to_end if is_of_route else bool(scope.spans)


def _from_unbuilt_end(criterion: AnyCriterion, layout: Layout) -> Iterator[CriteriaReport]:
    """Find what is to be tested from an end at which nothing is connected yet, and from no other."""
    assert isinstance(criterion, Tested)
    end = {From.A: 0, From.B: len(layout.design.sites) - 1}.get(criterion.tested_from)
    if end is not None and end in layout.unbuilt_ends:
        detail = f"is tested from {layout.design.sites[end].id} alone, where no fibre is connected yet"
        yield report_on(criterion, severity=Severity.QUESTIONABLE, detail=detail)


def _not_there(criterion: AnyCriterion, layout: Layout) -> Iterator[str]:
    if isinstance(criterion, OfJoints):
        yield from _joints_not_there(criterion, layout)
    if isinstance(criterion, OfSections):
        missing = [one for one in criterion.at or () if one not in _section_ids(layout)]
        if missing:
            yield f"names {', '.join(missing)}, which is no section of this route"


def _joints_not_there(criterion: OfJoints, layout: Layout) -> Iterator[str]:
    """Say which sites the route has not, that it has no such joint, or of which pigtails nobody says what they are."""
    named = criterion.at if isinstance(criterion.at, tuple) else ()
    sections = _section_ids(layout) if criterion.is_of_cable_too else set()
    missing = [one for one in named if one not in layout.site_index and one not in sections]
    scope = scope_of(criterion, layout)
    joints = {joint for first in _unlike_fibres(layout) for joint in layout.joints_of(first)}
    if missing:
        yield f"names {', '.join(missing)}, which this route does not pass"
    elif not scope.cable and not any(joint.kind in criterion.joint_kinds and scope.selects(joint) for joint in joints):
        yield "holds nowhere on this route: it has no joint of those that it asks for"
    if isinstance(criterion, OfSplices) and criterion.joining is not None:
        types = criterion.joining
        unsaid = {one.site for one in joints if one.site_index in scope.joint_sites and _may_join(types, one)}
        if unsaid:
            sites = ", ".join(sorted(unsaid, key=layout.site_index.__getitem__))
            yield f"does not hold at {sites}: of which type the pigtails are is not said"


def _section_ids(layout: Layout) -> set[str]:
    return {section.id for section in layout.design.sections}


def _unlike_fibres(layout: Layout) -> set[int]:
    return {layout.first_alike(fibre) for fibre in layout.segments_of_fibre}


def _may_join(named: tuple[str, ...], joint: Joint) -> bool:
    """Tell whether a splice's one known fibre is of a named type, and the other's type is not known."""
    if joint.joining is None or None not in joint.joining:
        return False
    return any(is_of_type(known, name) for known in joint.joining for name in named)


def _below_fibre_alone(criterion: LinkAttenuationCriterion, layout: Layout) -> Iterator[CriteriaReport]:
    """Find a limit below what the fibre alone has; a loss so low is void, except within its uncertainty."""
    assert isinstance(criterion.limit, FixedLimit)
    least = criterion.least_attenuation_db_per_km
    if least is None:
        return
    limit_mdb = to_last_place(criterion.limit.limit_db, places=3)
    uncertainty_mdb = to_last_place(criterion.uncertainty_db, places=3)
    most_mdb = limit_mdb - (uncertainty_mdb if criterion.decision is DecisionRule.GUARDED else 0)
    whole = Span(first=0, last=len(layout.design.sites) - 1)
    spans = scope_of(criterion, layout).spans if criterion.over is LinkStretch.SPAN else (whole,)
    length_um = max(_length_um(layout, span) for span in spans)
    alone_pdb = to_last_place(least, places=3) * length_um
    if most_mdb * PDB_PER_MDB >= alone_pdb:
        return
    is_void = (most_mdb + uncertainty_mdb) * PDB_PER_MDB < alone_pdb
    detail = (
        f"at most {most_mdb / 1000:.3f} dB is allowed, and {metres_text(length_um)} m of fibre alone have "
        f"{least:.3f} dB/km, {alone_pdb / 1e12:.3f} dB"
    )
    yield report_on(criterion, severity=Severity.UNMEETABLE if is_void else Severity.QUESTIONABLE, detail=detail)


def _without_allowance(criterion: LinkAttenuationCriterion, budget: Budget, layout: Layout) -> Iterator[CriteriaReport]:
    """Find fibre types of which a budget says nothing: over them it is no limit."""
    types = {section.fibre_type for section in layout.design.sections}
    unsaid = sorted(one for one in types if budget.attenuation_of(one) is None)
    if unsaid:
        detail = f"the budget allows nothing for fibre of type {', '.join(unsaid)}, which is on this route"
        yield report_on(criterion, severity=Severity.UNMEETABLE, detail=detail)


def _nowhere_long_enough(criterion: AttenuationCoefficientCriterion, layout: Layout) -> Iterator[CriteriaReport]:
    scope = scope_of(criterion, layout)
    spans = (
        scope.spans
        if criterion.over is Stretch.SPAN
        else [Span(first=section, last=section + 1) for section in sorted(scope.sections)]
    )
    least_um = to_um(criterion.least_length_m)
    longest_um = max((_length_um(layout, span) for span in spans), default=least_um)
    if longest_um < least_um:
        detail = f"no {criterion.over.value} is {metres_text(least_um)} m long, the longest {metres_text(longest_um)} m"
        yield report_on(criterion, severity=Severity.QUESTIONABLE, detail=f"decides nothing: {detail}")


def _without_reel_test(criterion: ReelDifferenceCriterion, layout: Layout) -> Iterator[CriteriaReport]:
    """Find sections of which the design states no reel test at the wavelength: nothing is decided there."""
    least_um, nm = to_um(criterion.least_length_m), criterion.wavelength_nm
    sections = [
        layout.design.sections[index]
        for index in sorted(scope_of(criterion, layout).sections)
        if layout.section_lengths_um[index] >= least_um
    ]
    unsaid = [one.id for one in sections if not any(test.wavelength_nm == nm for test in one.reel_tests)]
    if unsaid or not sections:
        where = f"no reel test at {nm} nm is stated of section {', '.join(unsaid)}"
        detail = where if unsaid else f"no section is {metres_text(least_um)} m long"
        yield report_on(criterion, severity=Severity.QUESTIONABLE, detail=f"decides nothing there: {detail}")


def _no_pulse_bounded(
    criterion: TraceSettingsCriterion, layout: Layout, *, longest_m: float
) -> Iterator[CriteriaReport]:
    length_um = layout.site_offsets_um[-1]
    if length_um > to_um(longest_m):
        last = f"the last bound takes in, {metres_text(to_um(longest_m))} m"
        longer = f"{metres_text(length_um)} m of fibre are longer than {last}"
        yield report_on(criterion, severity=Severity.QUESTIONABLE, detail=f"bounds no pulse here: {longer}")


def _denser_than_allowed(criterion: SpliceDensityCriterion, layout: Layout) -> Iterator[CriteriaReport]:
    """Find spans in which the design itself has a fibre spliced more often than is allowed."""
    limit = to_last_place(criterion.limit_per_km, places=3)
    sites = layout.design.sites
    for span in scope_of(criterion, layout).spans:
        closures = [site for site in sites[span.first + 1 : span.last] if site.kind is SiteKind.SPLICE_CLOSURE]
        most = max(
            (
                sum(layout.action(site, fibre) is FibreAction.SPLICED for site in closures)
                for fibre in layout.segments_of_fibre
            ),
            default=0,
        )
        length_um = _length_um(layout, span)
        if most * 1000 * UM_PER_KM > limit * length_um:
            designed = f"the design splices a fibre {most} times on {metres_text(length_um)} m"
            detail = f"{designed} from {sites[span.first].id} to {sites[span.last].id}"
            yield report_on(
                criterion,
                severity=Severity.UNMEETABLE,
                detail=f"{detail}, more than {criterion.limit_per_km:.3f} for each kilometre",
            )


def _length_um(layout: Layout, span: Span) -> int:
    return layout.site_offsets_um[span.last] - layout.site_offsets_um[span.first]
