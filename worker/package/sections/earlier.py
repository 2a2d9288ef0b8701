"""Earlier packages with some of the same segments: what was said of each, and what of it stands."""

from collections.abc import Iterator, Sequence

from worker.package.data.content import Now, PackageContent, SupersededPackage, SupersededSegment
from worker.package.document_model import Block, Column, Fact, Facts, Section, Subheading, Table, listing
from worker.package.phrases import UNKNOWN, count_text, time_text

EARLIER_TITLE = "Earlier packages"
# On the first page, of each earlier package; more segments than these are counted.
SEGMENTS_NAMED = 2

_COLUMNS = (
    Column(heading="Segment", share=110),
    Column(heading="Word on it there", share=90),
    Column(heading="What stands now", share=300),
)


def earlier_section(content: PackageContent) -> Section:
    """Return segment by segment what stands of the earlier packages with some of the segments submitted."""
    blocks = (block for earlier in content.supersedes for block in _blocks(earlier, content))
    return listing(title=EARLIER_TITLE, blocks=blocks)


def earlier_text(earlier: SupersededPackage, content: PackageContent) -> str:
    """Return what stands of an earlier package in a line: its segments by name where they are few."""
    by_state: dict[str, list[str]] = {}
    for id_, segment in _in_order(earlier, content):
        state = f"{_word(earlier, segment)}, {_short_state(segment, own=content.number)}"
        by_state.setdefault(state, []).append(id_)
    states = (f"{_named(ids)} {state}" for state, ids in by_state.items())
    return f"{earlier.number}: {'; '.join(states)}"


def _named(ids: Sequence[str]) -> str:
    return ", ".join(ids) if len(ids) <= SEGMENTS_NAMED else count_text(len(ids), one="segment", many="segments")


def _in_order(earlier: SupersededPackage, content: PackageContent) -> Sequence[tuple[str, SupersededSegment]]:
    """Return the segments of an earlier package in the order of the route, those it has no more at last."""
    place = {segment.id: number for number, segment in enumerate(content.design.segments)}
    return sorted(earlier.segments.items(), key=lambda one: (place.get(one[0], len(place)), one[0]))


def _blocks(earlier: SupersededPackage, content: PackageContent) -> Iterator[Block]:
    yield Subheading(text=f"Package {earlier.number}")
    facts = [Fact(label="Decided", value="not" if earlier.decided_at is None else time_text(earlier.decided_at))]
    if earlier.reason is not None:
        facts.append(Fact(label="Reason given", value=earlier.reason))
    yield Facts(facts=tuple(facts))
    rows = tuple(
        (id_, _word(earlier, segment), _state(segment, own=content.number))
        for id_, segment in _in_order(earlier, content)
    )
    yield Table(columns=_COLUMNS, rows=rows)


def _word(earlier: SupersededPackage, segment: SupersededSegment) -> str:
    if segment.word is None:
        return "not decided"
    return f"deemed {segment.word}" if earlier.is_deemed else segment.word


def _short_state(segment: SupersededSegment, *, own: str) -> str:
    if segment.now is not Now.SUPERSEDED:
        return segment.now.value
    return "superseded by this one" if segment.superseded_by == own else f"superseded by {segment.superseded_by}"


def _state(segment: SupersededSegment, *, own: str) -> str:
    match segment.now:
        case Now.STANDS:
            return "it stands"
        case Now.WITHDRAWN:
            return f"withdrawn: {segment.reason or UNKNOWN}"
        case Now.SUPERSEDED:
            by = "this package" if segment.superseded_by == own else f"package {segment.superseded_by}"
            return f"superseded by {by}"
