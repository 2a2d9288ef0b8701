"""Fibres that come out as others."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.words import Quantity
from service.vocabulary.findings.words import Act
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Continuity
from worker.judgement.work.items import Cause, WorkItem

_ADVICE = (
    "look at the ports of both ends first, then in the closures between them, and splice both as planned; or the "
    "engineer approves an as-built revision"
)


def crossing_work(fibre: FibreMeasured, still_open: Sequence[Finding]) -> Iterator[WorkItem]:
    """Return what is to be done about a fibre that comes out as another: of two fibres the same, for both."""
    for finding in still_open:
        tests = crossed_tests(fibre, finding)
        if tests:
            site = fibre.layout.design.sites[tests[0].ends[1]].id
            yield WorkItem(Act.FIBRES_CROSSED, (site,), tuple(_causes(fibre, finding, tests)))


def crossed_tests(fibre: FibreMeasured, finding: Finding) -> list[Continuity]:
    """Return the tests by which a finding says that a fibre comes out as another, those from A first."""
    if finding.quantity is not Quantity.CONTINUITY or not finding.is_bad:
        return []
    told = {reading.record for reading in finding.judged.readings}
    tests = [one for one in fibre.history.links_of(Continuity) if one.stamp.id in told]
    crossed = [one for one in tests if one.seen_fibre is not None and one.seen_fibre != one.fibre]
    return sorted(crossed, key=lambda one: (not one.is_forward, one.fibre))


def _causes(fibre: FibreMeasured, finding: Finding, tests: Sequence[Continuity]) -> Iterator[Cause]:
    """Give one cause for each pair of fibres, which tests from both ends show four times."""
    pairs: dict[frozenset[int | None], list[Continuity]] = {}
    for test in tests:
        pairs.setdefault(frozenset((test.fibre, test.seen_fibre)), []).append(test)
    for own in pairs.values():
        yield Cause(_clause(fibre, own[0]), (finding.code,), tuple(one.stamp.id for one in own))


def _clause(fibre: FibreMeasured, test: Continuity) -> str:
    assert test.seen_fibre is not None
    near, far = (fibre.layout.design.sites[index].id for index in test.ends)
    lit = f"fibre {test.fibre} ({_colours(fibre, test.fibre, near)}) was lit at {near}"
    seen = f"fibre {test.seen_fibre} ({_colours(fibre, test.seen_fibre, far)}) seen at {far}"
    return f"{lit} and {seen}: {_ADVICE}"


def _colours(fibre: FibreMeasured, number: int, site: str) -> str:
    """Return what a crew sees of a route fibre at an end of the route."""
    before, after = fibre.layout.local_fibres(number, site)
    local = before or after
    assert local is not None
    in_tube = f"fibre {local.fibre_in_tube} {local.fibre_colour}"
    return f"section {local.section}, tube {local.tube} {local.tube_colour}, {in_tube}"
