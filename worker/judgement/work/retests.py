"""Tests to make or to make again, and records that are missing."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

from service.vocabulary.criteria.base import Criterion, RequiredTest
from service.vocabulary.criteria.links import LengthCriterion
from service.vocabulary.criteria.words import From, Quantity
from service.vocabulary.criteria.workmanship import CalibratedSplicer, WorkmanshipCriterion
from service.vocabulary.design.layout import Span
from service.vocabulary.findings.words import Act, Outcome, Reason
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.link_tests import DirectionTest, can_be_made, find_test, stretches_of
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.traces.places import Place
from worker.judgement.words import DIRECTION_LABELS, REASON_LABELS
from worker.judgement.work.items import AskedTest, Cause, WorkItem, cause_of, merge_alike

# A test is there, but what it says is of no use as it is: it has to be made again, the way the clause says.
BETTER_TEST = {
    Reason.NO_CORD: "test again with a cord before and behind the route",
    Reason.CORDS_CHANGED: "test again and leave the same cord at each end for both directions",
    Reason.REFERENCE_UNLIKE: "test again with the reference method that was agreed, the same in both directions",
    Reason.REFERENCE_NOT_STATED: "state when the reference was taken in a record that replaces it, or measure again",
    Reason.PAIR_NOT_SEEN: "check the cords' lengths, and test again with both connected",
    Reason.LENGTHS_DISAGREE: "look for a break, and test again from both ends",
    Reason.INDEX_UNLIKE: "set both instruments to the fibre's index and test again, or state what they were set to in "
    "records that replace these",
    Reason.BELOW_ZERO: "test again from both ends",
    Reason.IMPOSSIBLE_PAIR: "test this very fibre again from both ends",
    Reason.WHOLE_UNLIKE_PARTS: "take the reference again, measure again and state the source's wavelength, and take "
    "the traces again with every event in them",
    Reason.READINGS_DISAGREE: "test again, and have the tests that are wrong withdrawn",
    Reason.AMBIGUOUS_EVENT: "test again with cords of another length, by which echoes move; if it stays, with a "
    "shorter pulse",
    Reason.BOUND_TOO_WIDE: "test again with a lower loss threshold or longer averaging",
    Reason.LOSS_NOT_STATED: "test again so that each event has its loss",
    Reason.REFLECTANCE_NOT_STATED: "test again so that each reflection has its reflectance",
    Reason.SATURATED: "test again with a shorter pulse or more attenuation, so that the reflection is not cut off",
    Reason.COEFFICIENT_NOT_STATED: "test again so that each section has its attenuation",
    Reason.NOISE_NOT_KNOWN: "state the instrument's dynamic range in a record that replaces it, or test from nearer",
    Reason.FAR_END_UNLIKE: "test again with the far end closed off as the criteria say",
}
# By which traces are not of one fibre, or not as the instrument gave them.
DOUBTED = {Reason.BELOW_ZERO, Reason.IMPOSSIBLE_PAIR}
_NO_CALIBRATION = "post the calibration if there was one, or calibrate and splice again"
_NOT_STATED = "replace the splice's record by one that states it"
_NOT_SAID = {Reason.NO_EVIDENCE, Reason.WORK_NOT_STATED}
FIRST_WORK = {Act.SPLICE, Act.TERMINATE}
_NOT_MADE = "not tested yet"
# What is said of a joint otherwise.
_SAID_OF_TESTS = {Reason.BEYOND_REACH: "the trace stops before its far end"}
_AFTER_WORK = "the work before it voids the tests there are"


def testing_work(fibre: FibreMeasured, still_open: Sequence[Finding], *, is_reworked: bool) -> list[WorkItem]:
    """Return the tests to be made on a fibre: what lacks, what does not count, what other work on the list voids."""
    if not fibre.is_continuous:
        return []
    return merge_alike((*_whole_tests(fibre, still_open, is_reworked=is_reworked), *_tests_through(fibre, still_open)))


def record_work(still_open: Sequence[Finding], work: Sequence[WorkItem]) -> list[WorkItem]:
    """Return what has to be posted of joints that are made, one item for each.

    What was done may well be in order, but nobody has said so.
    """
    items: list[WorkItem] = []
    first = [item for item in work if item.act in FIRST_WORK]
    to_be_made = {(site, item.position) for item in first for site in item.sites}
    for finding in still_open:
        if finding.quantity is Quantity.REQUIRED_RECORD and finding.reason is Reason.NO_EVIDENCE:
            assert finding.site is not None
            if (finding.site, finding.position) not in to_be_made:
                cause = cause_of(finding, f"{finding.judged.detail}: post it, or make the joint")
                items.append(WorkItem(Act.POST_RECORD, (finding.site,), (cause,), finding.position))
            continue
        criterion, site = finding.criterion, finding.site
        # A finding without a record is about a splice that is not made yet.
        if isinstance(criterion, WorkmanshipCriterion) and finding.reason in _NOT_SAID and finding.judged.readings:
            assert site is not None
            advice = _NO_CALIBRATION if isinstance(criterion.demand, CalibratedSplicer) else _NOT_STATED
            cause = cause_of(finding, f"{finding.judged.detail}: {advice}")
            items.append(WorkItem(Act.POST_RECORD, (site,), (cause,), finding.position))
    return merge_alike(items)


def tests_behind(fibre: FibreMeasured, *criteria: Criterion) -> tuple[AskedTest, ...]:
    """Return the tests that criteria are judged by; a trace at any wavelength where none says more.

    Of one criterion there are findings at every joint, and the tests behind them are the same.
    """
    needs = [need for one in {one.code: one for one in criteria}.values() for need in needs_of(fibre, one)]
    return asked_tests(fibre, needs or [RequiredTest("otdr", None)])


def asked_tests(fibre: FibreMeasured, needs: Iterable[RequiredTest]) -> tuple[AskedTest, ...]:
    """Return tests that are needed by where each is made from, each once."""
    asked = (
        AskedTest(need.name, need.wavelength_nm, sites_of(fibre, span, is_forward=is_forward)[0])
        for need in sorted(needs, key=lambda one: one.wavelength_nm or 0)
        for span in stretches_of(fibre, need.over)
        for is_forward in _ways(fibre, need, span)
    )
    return tuple(dict.fromkeys(asked))


def needs_of(fibre: FibreMeasured, criterion: Criterion) -> tuple[RequiredTest, ...]:
    """Return the tests that a criterion is judged by; a length by whatever traces there are or are asked for."""
    if not isinstance(criterion, LengthCriterion):
        return criterion.required_tests
    asked = (need for one in fibre.criteria.criteria for need in one.required_tests if need.name == "otdr")
    traced_nm = {one.wavelength_nm for one in fibre.history.traces}
    wavelengths_nm = traced_nm or {need.wavelength_nm for need in asked if need.wavelength_nm is not None}
    return tuple([criterion.test_at(nm, test="otdr") for nm in sorted(wavelengths_nm)])


def _ways(fibre: FibreMeasured, need: RequiredTest, span: Span) -> Iterator[bool]:
    """Give the directions in which a test is needed between two sites and can be made."""
    for is_forward in need.tested_from.directions:
        if can_be_made(fibre, need.name, is_forward=is_forward, between=span):
            yield is_forward


def sites_of(fibre: FibreMeasured, span: Span, *, is_forward: bool) -> tuple[str, str]:
    """Return the sites between which light runs, in its direction."""
    first, last = (fibre.layout.design.sites[index].id for index in (span.first, span.last))
    return (first, last) if is_forward else (last, first)


def ask(
    fibre: FibreMeasured,
    act: Act,
    tests: Sequence[AskedTest],
    cause: Cause,
    *,
    between: tuple[str, str] | None = None,
) -> WorkItem:
    """Ask both ends for tests: whoever stands at one alone cannot make them, for cords and sources stand at both."""
    index, unbuilt = fibre.layout.site_index, fibre.layout.unbuilt_ends
    ends = tuple(site for site in between or fibre.end_sites if index[site] not in unbuilt)
    return WorkItem(act, ends or fibre.end_sites, (cause,), tests=tuple(tests))


def _whole_tests(fibre: FibreMeasured, findings: Sequence[Finding], *, is_reworked: bool) -> Iterator[WorkItem]:
    open_codes = {finding.code for finding in findings if finding.outcome is Outcome.UNDETERMINED}
    # Many criteria are judged by the same tests.
    wanted: dict[RequiredTest, list[tuple[Span, DirectionTest]]] = {}
    needs: dict[tuple[Span, DirectionTest], list[str]] = {}
    for criterion in fibre.criteria.criteria:
        if is_reworked or criterion.code in open_codes:
            for need in needs_of(fibre, criterion):
                if need not in wanted:
                    wanted[need] = [*_wanted(fibre, need, is_reworked=is_reworked)]
                for one in wanted[need]:
                    needs.setdefault(one, []).append(criterion.code)
    for (span, found), codes in needs.items():
        if found.missing is Reason.NO_EVIDENCE:
            act, cause = Act.TEST, Cause(_NOT_MADE, tuple(codes))
        elif found.missing is not None:
            records = tuple(one.stamp.id for one, reason in found.void if reason is found.missing)
            said = _SAID_OF_TESTS.get(found.missing, REASON_LABELS[found.missing])
            act, cause = Act.RETEST, Cause(said, tuple(codes), records)
        else:
            act, cause = Act.RETEST, Cause(_AFTER_WORK, tuple(codes))
        start, end = sites_of(fibre, span, is_forward=found.is_forward)
        asked = [AskedTest(found.test, found.wavelength_nm, start)]
        if found.missing is Reason.TOTAL_UNLIKE_PARTS:
            # Where one list of events was changed, the others from there may have been, by less than shows.
            asked = [AskedTest("otdr", nm, start) for nm in sorted({one.wavelength_nm for one in fibre.history.traces})]
        yield ask(fibre, act, asked, cause, between=(start, end) if found.is_forward else (end, start))


def _wanted(fibre: FibreMeasured, need: RequiredTest, *, is_reworked: bool) -> Iterator[tuple[Span, DirectionTest]]:
    """Give where and in which directions a test that is needed is to be made; where either is enough, one of them."""
    for span in stretches_of(fibre, need.over):
        found = [
            find_test(fibre, test=need.name, wavelength_nm=need.wavelength_nm, is_forward=is_forward, between=span)
            for is_forward in need.tested_from.directions
        ]
        is_either = need.tested_from is From.EITHER
        if is_either and not is_reworked and any(one.missing is None for one in found):
            continue
        can_be = (one for one in found if can_be_made(fibre, need.name, is_forward=one.is_forward, between=span))
        asked = [one for one in can_be if is_reworked or one.missing is not None]
        yield from ((span, one) for one in (asked[:1] if is_either else asked))


def _tests_through(fibre: FibreMeasured, findings: Sequence[Finding]) -> Iterator[WorkItem]:
    """Return the traces that are missing over sites where spans meet: each span sees one side of such a joint only."""
    places = {place.site: place for place in fibre.places}
    unproven: dict[int, dict[str, list[Finding]]] = defaultdict(lambda: defaultdict(list))
    for one in findings:
        if one.reason is None or one.reason in BETTER_TEST or one.position is None:
            continue
        if one.wavelength_nm is not None and one.site is not None:
            unproven[one.wavelength_nm][one.site].append(one)
    for nm, by_site in unproven.items():
        for is_forward in From.BOTH.directions:
            if find_test(fibre, test="otdr", wavelength_nm=nm, is_forward=is_forward).missing is not None:
                continue
            for site, at_site in by_site.items():
                own = [one for one in at_site if _asks_for(one, is_forward=is_forward)]
                loss = fibre.losses_at(nm)[places[site].site_index]
                missing = (loss.forward if is_forward else loss.backward).reason
                if missing is not None and own:
                    yield _test_through(fibre, places[site], own, missing, is_forward=is_forward)


def _asks_for(finding: Finding, *, is_forward: bool) -> bool:
    needs = finding.criterion.required_tests
    return not needs or any(is_forward in need.tested_from.directions for need in needs)


def _test_through(
    fibre: FibreMeasured, place: Place, findings: Sequence[Finding], missing: Reason, *, is_forward: bool
) -> WorkItem:
    nm, criteria = findings[0].wavelength_nm, tuple(finding.code for finding in findings)
    way = f"{DIRECTION_LABELS[is_forward]} at {nm} nm"
    tests = (AskedTest("otdr", nm, fibre.end_sites[0 if is_forward else 1]),)
    if missing is Reason.NO_EVIDENCE:
        clause = f"no OTDR trace that counts runs over {place.site} {way}: test from a site before to a site behind"
        return WorkItem(Act.TEST, (place.site,), (Cause(clause, criteria),), tests=tests)
    clause = f"the OTDR trace {way} does not count for {place.site}: {REASON_LABELS[missing]}"
    return ask(fibre, Act.RETEST, tests, Cause(clause, criteria))
