"""What rules have in common: a criterion made ready for one layout, its limit, and the attempts at a joint."""

from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Sequence
from typing import ClassVar, Generic, TypeVar

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.scope import holds_over, scope_of
from service.vocabulary.criteria.words import LinkStretch, Unit
from service.vocabulary.design.layout import Joint, Layout, Span
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.findings import Finding, Judgement, PlainFindings
from worker.judgement.fibre.link_tests import stretches_of
from worker.judgement.fibre.measured import FibreMeasured, PlacedJoints
from worker.judgement.numbers.exact import Exact
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.traces.places import Place

CriterionT = TypeVar("CriterionT", bound=Criterion)
# Of the sites where a link is not joined yet: the crew knows the rest.
_SITES_NAMED = 3


class Rule(ABC, Generic[CriterionT]):
    """One criterion, ready to be held against the fibres of one layout; it keeps nothing of any fibre."""

    def __init__(self, criterion: CriterionT, layout: Layout) -> None:
        self.criterion = criterion
        self.scope = scope_of(criterion, layout)

    @abstractmethod
    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give the findings of one fibre in route order."""

    def found(self, fibre: FibreMeasured) -> Iterable[Finding | PlainFindings]:
        """Give the same, those that plainly conform as columns, where the rule tells them apart."""
        return self.findings(fibre)

    def joints(self, fibre: FibreMeasured, kind: JointKind) -> Iterator[tuple[Place, Joint]]:
        """Give each joint of a kind for which the criterion holds, with its place, in route order."""
        return self.joints_among(fibre.placed, kind)

    def joints_among(self, placed: PlacedJoints, kind: JointKind) -> Iterator[tuple[Place, Joint]]:
        """Give the same out of the joints of a fibre, or of all that are spliced alike."""
        sites, picks = self.scope.joint_sites, self.scope.picks
        own = (one for one in placed.of_kind[kind] if one[0].site_index in sites)
        return own if picks is None else (one for one in own if picks(one[1]))

    def stretches(self, fibre: FibreMeasured) -> Sequence[Span]:
        """Return over what the criterion holds of a fibre that is nowhere stored: all of it, its spans or its parts."""
        over, applies_when = self.criterion.link_stretch, self.criterion.applies_when
        own = stretches_of(fibre, over)
        if over is not LinkStretch.SPAN:
            return own if self.scope.holds_end_to_end else ()
        return [one for one in own if holds_over(applies_when, fibre.layout, one) and segments_over(fibre, one)]

    def joint_finding(self, fibre: FibreMeasured, joint: Joint, judgement: Judgement) -> Finding:
        """Return a finding about a joint."""
        # By position: a route has more of these than of anything else.
        return Finding(self.criterion, judgement, (joint.segment,), fibre.number, joint.site, joint.position)

    def link_finding(self, fibre: FibreMeasured, judgement: Judgement) -> Finding:
        """Return a finding about a fibre from end to end."""
        return self.span_finding(fibre, fibre.whole, judgement)

    def section_finding(self, fibre: FibreMeasured, section: int, judgement: Judgement) -> Finding:
        """Return a finding about the fibre in one section."""
        segments, own = segments_over(fibre, Span(first=section, last=section + 1)), fibre.layout.design.sections
        return Finding(self.criterion, judgement, segments, fibre.number, section=own[section].id)

    def span_finding(self, fibre: FibreMeasured, span: Span, judgement: Judgement) -> Finding:
        """Return a finding about the fibre from one site to another."""
        first, last = (fibre.layout.design.sites[index].id for index in (span.first, span.last))
        segments = fibre.segments if span == fibre.whole else segments_over(fibre, span)
        parts = fibre.joined.parts if self.criterion.link_stretch is LinkStretch.JOINED else ()
        part = next((one for one in parts if one.span == span), None)
        judged, counted = (judgement, part.segments) if part else _counted(fibre, span, judgement, segments)
        return Finding(self.criterion, judged, counted, fibre.number, from_site=first, to_site=last)


class LimitRule(Rule[CriterionT]):
    """A criterion with one limit, whatever the fibre."""

    unit: ClassVar[Unit] = Unit.DB

    def __init__(self, criterion: CriterionT, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self.limit = limit_of(criterion, unit=self.unit)


class EndToEndRule(Rule[CriterionT]):
    """A criterion about a fibre as a whole, or span by span."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for a fibre that runs from end to end, or one for each of its spans that is paid for."""
        for span in self.stretches(fibre):
            yield self.span_finding(fibre, span, self.judge(fibre, span))

    @abstractmethod
    def judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Hold a whole fibre, or a span of it, against the criterion."""


def limit_of(criterion: Criterion, *, unit: Unit = Unit.DB, places: int = 4) -> Limit:
    """Return the one limit that a criterion states, with its guard band, shown with so many decimals."""
    assert criterion.single_limit is not None
    return guarded_limit(criterion, to_parts(criterion.single_limit, places=3), unit=unit, places=places)


def guarded_limit(criterion: Criterion, exact: int, *, unit: Unit = Unit.DB, places: int = 4) -> Limit:
    """Return the most that a criterion allows, or the least, in 1e-12 of the unit, with its guard band."""
    band = 0 if criterion.guard_band is None else to_parts(criterion.guard_band, places=3)
    return Limit(
        exact, unit=unit, is_minimum=criterion.limit_is_least, places=places, rule=criterion.decision_rule, band=band
    )


def hold_known_part(known: Judgement, *, low: Exact, high: Exact, limit: Limit) -> Judgement:
    """Hold what is known of a value against a limit; with a reason why not all is known, only a breach decides.

    What is not known can only make it worse.
    """
    held = known.held(low, high, limit)
    return held if known.reason is None or held.outcome is Outcome.NONCONFORMING else known


def once_finished(fibre: FibreMeasured, joints: Iterable[Joint], judgement: Judgement) -> Judgement:
    """Return a judgement of some joints, which none conforms by before its splices are finished."""
    if judgement.outcome is not Outcome.CONFORMING or not fibre.unfinished:
        return judgement
    for joint in joints:
        unfinished = fibre.unfinished.get((joint.site, joint.position))
        if unfinished is not None:
            return judgement._replace(
                outcome=Outcome.UNDETERMINED,
                reason=unfinished.reason,
                detail=f"{unfinished.detail}; {judgement.detail}",
                readings=(*judgement.readings, RecordReading(unfinished.record)),
                grade=None,
                by_fallback=False,
            )
    return judgement


def segments_over(fibre: FibreMeasured, span: Span) -> tuple[str, ...]:
    """Return the segments that have the fibre in scope and a section of the span in them, in route order."""
    design = fibre.layout.design
    sections = {section.id for section in design.sections[span.first : span.last]}
    own = (segment for segment in design.segments if segment.id in fibre.segments)
    return tuple(segment.id for segment in own if not sections.isdisjoint(segment.sections))


def _counted(
    fibre: FibreMeasured, span: Span, judgement: Judgement, segments: tuple[str, ...]
) -> tuple[Judgement, tuple[str, ...]]:
    """Return a judgement of the fibre between two sites with those of some segments that it counts for.

    Where the link is not joined there yet, it is asked of the segments that are not made: those that are can be proven
    without it. Behind an end that is not built a later design has them.
    """
    index = fibre.layout.site_index
    open_sites = [site for site in fibre.joined.open_sites if span.first <= index[site] <= span.last]
    if not open_sites:
        return judgement, segments
    if judgement.outcome is Outcome.UNDETERMINED:
        named = ", ".join(open_sites[:_SITES_NAMED]) + (" and on" if len(open_sites) > _SITES_NAMED else "")
        detail = f"{judgement.detail}; nothing is joined yet at {named}"
        judgement = judgement._replace(reason=Reason.LINK_NOT_JOINED, detail=detail)
    return judgement, tuple(segment for segment in segments if segment in fibre.joined.unmade)


def length_over_um(fibre: FibreMeasured, span: Span) -> int:
    """Return the design's fibre length of a span."""
    offsets = fibre.layout.site_offsets_um
    return offsets[span.last] - offsets[span.first]


def joints_over(fibre: FibreMeasured, span: Span) -> list[Joint]:
    """Return the joints that a test between two sites runs over, in order from A, both end connections included.

    In a panel at its end it is connected to the first mated pair that it comes to: what lies behind is another span's.
    """
    if span == fibre.whole:
        return list(fibre.joints)
    first, inside, last = (
        [joint for joint in fibre.joints if is_there(joint.site_index)]
        for is_there in (span.first.__eq__, lambda index: span.first < index < span.last, span.last.__eq__)
    )
    if span.first > fibre.whole.first:
        pairs = [index for index, joint in enumerate(first) if joint.kind is JointKind.PAIR]
        first = first[pairs[-1] :] if pairs else []
    if span.last < fibre.whole.last:
        pairs = [index for index, joint in enumerate(last) if joint.kind is JointKind.PAIR]
        last = last[: pairs[0] + 1] if pairs else []
    return [*first, *inside, *last]
