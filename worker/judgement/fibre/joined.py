"""How far a fibre is joined: whose joints are all made and finished, and which segments of these hang together.

A joint is made where work on the fibre was recorded, or where a test ran over it: not every crew posts its splices.
Work that was withdrawn counts too, so that nobody takes a link apart again by withdrawing what joined it.
"""

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import NamedTuple

from service.vocabulary.design.layout import Joint, Layout, Span
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.words import Reason
from worker.judgement.history.acts import History, SpliceAct
from worker.judgement.numbers.clocks import last_of_each_clock, latest_is_proven
from worker.judgement.words import REASON_LABELS


class Part(NamedTuple):
    """Neighbouring segments of a fibre that are joined to each other, and the sites between which they lie."""

    span: Span
    segments: tuple[str, ...]


class Joined(NamedTuple):
    """A fibre's segments in parts that are joined, those of which joints are not made yet, and where nothing is joined.

    `open_sites` are in order from A: joints not made there, and ends of the route that are not built.
    """

    parts: tuple[Part, ...]
    unmade: tuple[str, ...]
    open_sites: tuple[str, ...]

    @property
    def is_whole(self) -> bool:
        """Tell whether the link is joined from end to end."""
        return not self.open_sites


def whole_link(layout: Layout, _: History, *, fibre: int) -> Joined:
    """Return a fibre's link as one part, as where it is proven with its whole route alone."""
    whole = Span(first=0, last=len(layout.design.sites) - 1)
    return Joined((Part(whole, layout.segments_of_fibre.get(fibre, ())),), (), ())


def find_joined(layout: Layout, history: History, *, fibre: int) -> Joined:
    """Return how far a fibre's link is joined by its records."""
    tested = {test.span for test in (*history.traces, *history.links) if test.fibre == fibre and not test.is_ended}
    last = len(layout.design.sites) - 1
    if (0, last) in tested and not layout.unbuilt_ends:
        return whole_link(layout, history, fibre=fibre)
    run_over = frozenset(site for low, high in tested for site in sites_run_over(layout, low, high))
    joints = layout.joints_of(fibre)
    sites = {one.site_index for one in joints if one.site not in history.worked_at and one.site_index not in run_over}
    own_segments = layout.segments_of_fibre.get(fibre, ())
    spans = {own: span for own, span in _segment_spans(layout).items() if own in own_segments}
    has_joints, lacking = {one.segment for one in joints}, {one.segment for one in joints if one.site_index in sites}
    open_sites = sites | layout.unbuilt_ends
    # Of cable without a joint of its own, and joined to nothing at one end, only a test tells that it is there.
    lacking |= {own for own, span in spans.items() if own not in has_joints and _hangs_loose(span, open_sites, tested)}
    return Joined(
        tuple(_parts({own: span for own, span in spans.items() if own not in lacking}, open_at=sites)),
        tuple(sorted(lacking & spans.keys(), key=lambda own: spans[own].first)),
        tuple(layout.design.sites[index].id for index in sorted(open_sites)),
    )


def sites_run_over(layout: Layout, low: int, high: int) -> Iterator[int]:
    """Give the sites whose joints a test between two sites runs over: one that ends in a closure meets none there."""
    yield from range(low + 1, high)
    yield from (end for end in (low, high) if layout.has_connections(end))


def _hangs_loose(span: Span, open_sites: Iterable[int], tested: Iterable[tuple[int, int]]) -> bool:
    is_open = not {span.first, span.last}.isdisjoint(open_sites)
    return is_open and not any(low <= span.first and span.last <= high for low, high in tested)


@lru_cache(maxsize=32)
def _segment_spans(layout: Layout) -> Mapping[str, Span]:
    """Return between which two sites each segment lies: all that its sections and its sites reach."""
    sections = {section.id: index for index, section in enumerate(layout.design.sections)}
    spans: dict[str, Span] = {}
    for segment in layout.design.segments:
        reached = [layout.site_index[site] for site in segment.sites]
        reached += [sections[section] + end for section in segment.sections for end in (0, 1)]
        if reached:
            spans[segment.id] = Span(first=min(reached), last=max(reached))
    return spans


def _parts(made: Mapping[str, Span], *, open_at: set[int]) -> Iterator[Part]:
    in_order = sorted(made.items(), key=lambda one: (one[1].first, one[1].last))
    part: Part | None = None
    for own, span in in_order:
        if part is not None and not any(part.span.first < site < span.last for site in open_at):
            joined = Span(first=part.span.first, last=max(part.span.last, span.last))
            part = Part(joined, (*part.segments, own))
            continue
        if part is not None:
            yield part
        part = Part(span, (own,))
    if part is not None:
        yield part


class Unfinished(NamedTuple):
    """Why a splice cannot conform yet, its sleeve or its proof test, and the record that says so."""

    reason: Reason
    detail: str
    record: str


def unfinished_splices(history: History, joints: Iterable[Joint]) -> Mapping[tuple[str, int], Unfinished]:
    """Return the splices, by site and position, that their latest record does not say to be finished."""
    told = {site: acts for site, acts in history.splices.items() if any(_fault_of(act) for act in acts)}
    # As on nearly every fibre.
    if not told:
        return {}
    found: dict[tuple[str, int], Unfinished] = {}
    for joint in joints:
        if joint.kind is JointKind.SPLICE:
            own = [act for act in told.get(joint.site, ()) if act.position in {None, joint.position}]
            unfinished = _unfinished(own)
            if unfinished is not None:
                found[joint.site, joint.position] = unfinished
    return found


def _unfinished(attempts: list[SpliceAct]) -> Unfinished | None:
    if not attempts:
        return None
    if latest_is_proven([act.stamp for act in attempts]):
        fault = _fault_of(attempts[-1])
        return None if fault is None else Unfinished(Reason.WORK_NOT_FINISHED, fault, attempts[-1].stamp.id)
    # Any of these may be the latest.
    last = last_of_each_clock([act.stamp for act in attempts])
    doubtful = [act for act in attempts if act.stamp in last and _fault_of(act)]
    if not doubtful:
        return None
    reason = Reason.ORDER_NOT_PROVEN
    return Unfinished(reason, f"{_fault_of(doubtful[-1])}, or was, as {REASON_LABELS[reason]}", doubtful[-1].stamp.id)


def _fault_of(act: SpliceAct) -> str | None:
    if act.proof_test_passed is False:
        return "the splice did not pass its proof test"
    return None if act.sleeve_is_shrunk else "the sleeve has not been shrunk"
