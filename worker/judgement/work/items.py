"""One item of a work list, why it is to be done, and by which findings nothing is."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from service.vocabulary.criteria.base import Test
from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.criteria.words import Basis, DecisionRule, LinkStretch, Quantity
from service.vocabulary.findings.words import Act, Reason
from worker.judgement.fibre.findings import Finding
from worker.judgement.numbers.exact import parts_text

# Where a clause has its value, which differs from fibre to fibre: an order says it once for all of them.
VALUE = "{}"
# How a test was made or what its record lacks, whichever fibre it was of.
_OF_TESTING = {
    Reason.NO_EVIDENCE,
    Reason.NO_CORD,
    Reason.CORDS_CHANGED,
    Reason.REFERENCE_UNLIKE,
    Reason.REFERENCE_NOT_STATED,
    Reason.LOSS_NOT_STATED,
    Reason.REFLECTANCE_NOT_STATED,
    Reason.COEFFICIENT_NOT_STATED,
    Reason.NOISE_NOT_KNOWN,
    Reason.SATURATED,
    Reason.FAR_END_UNLIKE,
}
# What is known by records of work, whichever fibre was tested.
_OF_RECORDS = {Quantity.WORKMANSHIP, Quantity.REQUIRED_RECORD, Quantity.END_FACE}


class Cause(NamedTuple):
    """Why something has to be done: a clause for the crew, the criteria behind it, and the records that say so."""

    clause: str
    criteria: tuple[str, ...] = ()
    records: tuple[str, ...] = ()
    value: str | None = None


class AskedTest(NamedTuple):
    """A test to be made: at a wavelength, if it has one, and from which site."""

    test: Test
    wavelength_nm: int | None
    from_site: str


class WorkItem(NamedTuple):
    """Something that a crew has to do at a site, or at several alike, with all its causes.

    One that is not ready waits for other work on the list. One that `opens` is under a lid that is shut; what is in the
    cable behind a site is under none.
    """

    act: Act
    sites: tuple[str, ...]
    causes: tuple[Cause, ...]
    position: int | None = None
    is_urgent: bool = False
    is_ready: bool = True
    opens: bool = False
    is_in_cable: bool = False
    tests: tuple[AskedTest, ...] = ()

    @property
    def criteria(self) -> frozenset[str]:
        """The codes of the criteria behind it."""
        return frozenset(code for cause in self.causes for code in cause.criteria)


class ActedOn(NamedTuple):
    """What is acted on of one fibre.

    Of a crossed fibre traces from both ends are of two fibres, and what they show together is of neither: it is put
    right and tested again before anybody believes them. Doubted are traces that show a joint better than any can be:
    tested again, before a closure is opened by them. `unmeetable` says of criteria why the route cannot meet them.
    """

    is_crossed: bool
    is_doubted: bool
    unmeetable: Mapping[str, str]

    def is_by(self, finding: Finding) -> bool:
        """Tell whether anything is done by a finding."""
        if not (self.is_crossed or self.is_doubted or self.unmeetable):
            # As of nearly every fibre, of which each finding is asked about.
            return True
        return not (self.is_hopeless(finding) or self._is_of_two(finding) or self.doubts(finding))

    def is_tested_by(self, finding: Finding) -> bool:
        """Tell whether a test is asked for by a finding, or for how to make it."""
        if not (self.is_crossed or self.unmeetable):
            return True
        if self.is_hopeless(finding):
            # What it comes to is asked about all the same.
            return finding.reason is Reason.NO_EVIDENCE
        return not self._is_of_two(finding) or finding.reason in _OF_TESTING

    def doubts(self, finding: Finding) -> bool:
        """Tell whether a finding is that a splice loses too much, by traces that are doubted."""
        criterion = finding.criterion
        is_traced = isinstance(criterion, SpliceLossCriterion) and criterion.basis is Basis.TRACES
        return self.is_doubted and is_traced and finding.is_bad

    def is_hopeless(self, finding: Finding) -> bool:
        """Tell whether no work can turn a finding around; of several spans one alone may be too long."""
        return finding.code in self.unmeetable and finding.criterion.link_stretch is not LinkStretch.SPAN

    def _is_of_two(self, finding: Finding) -> bool:
        criterion = finding.criterion
        is_estimate = isinstance(criterion, SpliceLossCriterion) and criterion.basis is Basis.ESTIMATE
        return self.is_crossed and not is_estimate and finding.quantity not in _OF_RECORDS


def merge_alike(items: Iterable[WorkItem]) -> list[WorkItem]:
    """Return one item for those that ask for the same act at the same place, with all their causes."""
    merged: dict[tuple[Act, tuple[str, ...], int | None], WorkItem] = {}
    for item in items:
        key = item.act, item.sites, item.position
        before = merged.get(key)
        if before is None:
            merged[key] = item
        else:
            causes = tuple(dict.fromkeys(before.causes + item.causes))
            tests = tuple(dict.fromkeys(before.tests + item.tests))
            is_urgent = before.is_urgent or item.is_urgent
            is_in_cable = before.is_in_cable and item.is_in_cable
            merged[key] = before._replace(causes=causes, tests=tests, is_urgent=is_urgent, is_in_cable=is_in_cable)
    return list(merged.values())


def join_sites(items: Iterable[WorkItem]) -> list[WorkItem]:
    """Return one item for those that differ in nothing but their site."""
    joined: dict[WorkItem, list[str]] = {}
    for item in items:
        joined.setdefault(item._replace(sites=()), []).extend(item.sites)
    return [item._replace(sites=tuple(sites)) for item, sites in joined.items()]


def cause_of(finding: Finding, clause: str) -> Cause:
    """Return the cause that a finding is, in words of its own; `{}` in them stands for its value."""
    records = tuple(reading.record for reading in finding.judged.readings)
    return Cause(clause, (finding.code,), records, value_of(finding) if VALUE in clause else None)


def value_of(finding: Finding) -> str:
    """Return the bound of a nonconforming value that decides."""
    limit, bounds = finding.judged.limit, finding.judged.bounds
    assert limit is not None
    assert bounds is not None
    return parts_text(bounds[1] if limit.is_minimum else bounds[0], places=limit.places)


def beyond_limit(finding: Finding) -> str:
    """Say by how much a nonconforming value is beyond its limit, with a place for the value."""
    limit, bounds = finding.judged.limit, finding.judged.bounds
    assert limit is not None
    assert bounds is not None
    unit = limit.unit.value
    # By the guarded rule the limit is kept only where the guard band is kept too.
    is_guarded = limit.rule is DecisionRule.GUARDED
    band = f" with a guard band of {parts_text(limit.band, places=limit.places)} {unit}" if is_guarded else ""
    is_exact = bounds[0] == bounds[1]
    if limit.is_minimum:
        return f"is {'' if is_exact else 'at most '}{VALUE} {unit}, below the least of {limit.text} {unit}{band}"
    return f"is {'' if is_exact else 'at least '}{VALUE} {unit}, above the limit of {limit.text} {unit}{band}"
