"""What rules have in common: a criterion made ready for one layout, its limit, and the attempts at a joint."""

from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator
from typing import ClassVar, Generic, TypeVar

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.scope import scope_of
from service.vocabulary.criteria.words import Unit
from service.vocabulary.design.layout import Joint, Layout, Span
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Outcome
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import Exact
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.traces.places import Place

CriterionT = TypeVar("CriterionT", bound=Criterion)


class Rule(ABC, Generic[CriterionT]):
    """One criterion, ready to be held against the fibres of one layout; it keeps nothing of any fibre."""

    def __init__(self, criterion: CriterionT, layout: Layout) -> None:
        self.criterion = criterion
        self.scope = scope_of(criterion.applies_when, layout)

    @abstractmethod
    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give the findings of one fibre in route order."""

    def joints(self, fibre: FibreMeasured, kind: JointKind) -> Iterator[tuple[Place, Joint]]:
        """Give each joint of a kind for which the criterion holds, with its place, in route order."""
        return (own for own in fibre.joints_of_kind[kind] if own[0].site_index in self.scope.sites)

    def joint_finding(self, fibre: FibreMeasured, joint: Joint, judgement: Judgement) -> Finding:
        """Return a finding about a joint."""
        # By position: a route has more of these than of anything else.
        return Finding(self.criterion, judgement, (joint.segment,), fibre.number, joint.site, joint.position)

    def link_finding(self, fibre: FibreMeasured, judgement: Judgement) -> Finding:
        """Return a finding about a fibre from end to end."""
        first, last = fibre.end_sites
        return Finding(self.criterion, judgement, fibre.segments, fibre.number, from_site=first, to_site=last)

    def section_finding(self, fibre: FibreMeasured, section: int, judgement: Judgement) -> Finding:
        """Return a finding about the fibre in one section."""
        segments, own = segments_over(fibre, Span(first=section, last=section + 1)), fibre.layout.design.sections
        return Finding(self.criterion, judgement, segments, fibre.number, section=own[section].id)

    def span_finding(self, fibre: FibreMeasured, span: Span, judgement: Judgement) -> Finding:
        """Return a finding about the fibre from one site to another."""
        first, last = (fibre.layout.design.sites[index].id for index in (span.first, span.last))
        segments = segments_over(fibre, span)
        return Finding(self.criterion, judgement, segments, fibre.number, from_site=first, to_site=last)


class LimitRule(Rule[CriterionT]):
    """A criterion with one limit, whatever the fibre."""

    unit: ClassVar[Unit] = Unit.DB

    def __init__(self, criterion: CriterionT, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self.limit = limit_of(criterion, unit=self.unit)


class EndToEndRule(Rule[CriterionT]):
    """A criterion about a fibre as a whole."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for a fibre that runs from end to end."""
        if fibre.is_continuous and self.scope.holds_end_to_end:
            yield self.link_finding(fibre, self.judge(fibre))

    @abstractmethod
    def judge(self, fibre: FibreMeasured) -> Judgement:
        """Hold a whole fibre against the criterion."""


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


def length_over_um(fibre: FibreMeasured, span: Span) -> int:
    """Return the design's fibre length of a span."""
    offsets = fibre.layout.site_offsets_um
    return offsets[span.last] - offsets[span.first]
