"""The work list of one fibre: what a crew has to do, in a foreman's order, so that every finding conforms."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from types import MappingProxyType

from service.vocabulary.criteria.words import Quantity
from service.vocabulary.findings.words import Act, Reason
from worker.judgement.fibre.findings import FibreFindings, Finding
from worker.judgement.fibre.joined import sites_run_over
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.words import REASON_LABELS, at_wavelength
from worker.judgement.work.bends import is_tested_twice
from worker.judgement.work.better_tests import better_tests, cleaning_tests
from worker.judgement.work.connections import connection_work, inspection_work
from worker.judgement.work.crossings import crossing_work
from worker.judgement.work.faults import bend_work, break_work
from worker.judgement.work.items import ActedOn, Cause, WorkItem, beyond_limit, cause_of, join_sites, merge_alike
from worker.judgement.work.joints import is_all_done, joint_work, sealing_work, statistic_work
from worker.judgement.work.retests import BETTER_TEST, DOUBTED, FIRST_WORK, record_work, testing_work, tests_behind

_ACT_ORDER = {act: rank for rank, act in enumerate(Act)}
# Tests come when all else is done, papers and questions at the end.
_STAGES = {Act.TEST: 1, Act.RETEST: 1, Act.POST_RECORD: 2, Act.ASK_ENGINEER: 3}
_ANOTHER_TEST = {
    Reason.NO_EVIDENCE: "test from both ends",
    Reason.GROUP_ONLY: "test again with a shorter pulse",
}
_NO_WORK_HELPS = "no work of a crew mends it: the engineer may concede it, or agree to another criterion or design"


def work_of(
    fibre: FibreMeasured, found: FibreFindings, *, unmeetable: Mapping[str, str] = MappingProxyType({})
) -> list[WorkItem]:
    """Return what is to be done on one fibre, from the first day on.

    What waits for other work is not ready: what is tested before that is finished has to be tested again. Where joints
    keep their own limits and break one together, the worst of them is asked for, unless there is other work. A record
    that is only missing holds nothing up. `unmeetable` says by code why the route cannot meet criteria: the engineer is
    asked about these, and nothing is done again for them.
    """
    still_open = found.still_open
    if not still_open and is_all_done(fibre, found):
        return []
    unlike = [one for one in still_open if one.quantity is Quantity.CONTINUITY and one.is_bad]
    crossings = list(crossing_work(fibre, unlike)) if unlike else []
    is_doubted = any(one.reason in DOUBTED for one in still_open) and not is_tested_twice(
        one for one in fibre.history.traces if not one.is_ended
    )
    acted_on = ActedOn(is_crossed=bool(crossings), is_doubted=is_doubted, unmeetable=unmeetable)
    told = [one for one in still_open if acted_on.is_by(one)]
    work = [
        *crossings,
        *break_work(fibre, still_open),
        *bend_work(fibre, told),
        *joint_work(fibre, found.every, acted_on),
        *connection_work(fibre, told),
    ]
    # Any other work may bring the joints back within their limit together, so the worst is named last.
    work = merge_alike(work or statistic_work(fibre, told))
    work = [item._replace(opens=_is_under_shut_lid(fibre, item)) for item in work]
    work += sealing_work(fibre, work)
    is_reworked = any(item.act is not Act.SEAL and item.act not in FIRST_WORK for item in work)
    inspections = [item._replace(is_ready=not work) for item in inspection_work(fibre, told)]
    tests = _tests(fibre, found, acted_on, inspections, is_reworked=is_reworked)
    records = record_work(told, work)
    hopeless = list(_hopeless(fibre, still_open, unmeetable))
    work += inspections
    answers = _Answers((*work, *tests, *records, *hopeless))
    required = [one for one in still_open if one.is_required and not acted_on.is_hopeless(one)]
    left = [one for one in required if not answers.are_about(one)]
    tests = merge_alike((*tests, *_tests_again(fibre, left)))
    work += [item._replace(is_ready=not any(_holds_up(fibre, one, item) for one in work)) for item in tests]
    return join_sites(_in_order(fibre, [*work, *records, *hopeless, *_questions(fibre, left)]))


def _tests(
    fibre: FibreMeasured,
    found: FibreFindings,
    acted_on: ActedOn,
    inspections: Sequence[WorkItem],
    *,
    is_reworked: bool,
) -> list[WorkItem]:
    """Return the tests that findings ask for, and those that other work voids."""
    tested_for = [one for one in found.still_open if acted_on.is_tested_by(one)]
    tests = testing_work(fibre, tested_for, is_reworked=is_reworked)
    if fibre.is_continuous and any(one.is_bad or one.reason in BETTER_TEST for one in tested_for):
        tests += better_tests(fibre, tested_for, found, acted_on, is_reworked=is_reworked)
    if inspections and not is_reworked:
        tests += cleaning_tests(fibre, found, inspections)
    return tests


def _in_order(fibre: FibreMeasured, work: Iterable[WorkItem]) -> list[WorkItem]:
    index = fibre.layout.site_index
    return sorted(
        work,
        key=lambda item: (
            _STAGES.get(item.act, 0),
            index[item.sites[0]],
            _ACT_ORDER[item.act],
            item.position or 0,
        ),
    )


def _holds_up(fibre: FibreMeasured, item: WorkItem, test: WorkItem) -> bool:
    """Tell whether work comes before a test: at a site that it runs over, not in a closure that it ends in."""
    index = fibre.layout.site_index
    between = [index[site] for site in test.sites]
    if len(between) == 1:
        return True
    run_over = set(sites_run_over(fibre.layout, min(between), max(between)))
    return any(index[site] in run_over for site in item.sites)


def _is_under_shut_lid(fibre: FibreMeasured, item: WorkItem) -> bool:
    return not item.is_in_cable and any(
        fibre.layout.is_closure(site) and fibre.validity.is_sealed(site) for site in item.sites
    )


def _hopeless(fibre: FibreMeasured, still_open: Iterable[Finding], unmeetable: Mapping[str, str]) -> Iterator[WorkItem]:
    """Return what the engineer is asked about criteria that the route cannot meet, whatever a crew does."""
    codes = dict.fromkeys(one.code for one in still_open if one.is_required and one.code in unmeetable)
    for code in codes:
        clause = f"{code} {unmeetable[code]}: {_NO_WORK_HELPS}"
        yield WorkItem(Act.ASK_ENGINEER, fibre.end_sites[:1], (Cause(clause, (code,)),))


def _questions(fibre: FibreMeasured, left: Iterable[Finding]) -> Iterator[WorkItem]:
    """Return what has to be asked about required findings that no other item is about."""
    asked: dict[tuple[str, str], list[Finding]] = {}
    for finding in left:
        question = _question(fibre, finding)
        if question is not None:
            asked.setdefault((_site_of(fibre, finding), question), []).append(finding)
    for (site, question), own in asked.items():
        causes = [cause_of(one, question) for one in own]
        codes = tuple(dict.fromkeys(one.code for one in own))
        values = [cause.value for cause in causes if cause.value is not None]
        records = tuple(dict.fromkeys(record for cause in causes for record in cause.records))
        yield WorkItem(Act.ASK_ENGINEER, (site,), (Cause(question, codes, records, values[0] if values else None),))


def _tests_again(fibre: FibreMeasured, left: Iterable[Finding]) -> Iterator[WorkItem]:
    """Return the tests that may turn around required findings that no other item is about."""
    for finding in left:
        if finding.reason is None or _question(fibre, finding) is not None:
            continue
        where = "" if finding.site is None else f" at {finding.site}"
        said = f"{REASON_LABELS[finding.reason]}{where}{at_wavelength(finding.wavelength_nm)}"
        act = Act.TEST if finding.reason is Reason.NO_EVIDENCE else Act.RETEST
        cause = cause_of(finding, f"{said}: {_ANOTHER_TEST.get(finding.reason, 'test again from both ends')}")
        yield WorkItem(act, fibre.end_sites, (cause,), tests=tests_behind(fibre, finding.criterion))


class _Answers:
    """What items are about: the criteria that tests name, those that other work names, and these with each site."""

    def __init__(self, items: Iterable[WorkItem]) -> None:
        told = [(item, code) for item in items for code in item.criteria]
        self._tested = {code for item, code in told if item.tests}
        self._worked_on = {code for item, code in told if not item.tests}
        self._at_sites = {(code, site) for item, code in told if not item.tests for site in item.sites}

    def are_about(self, finding: Finding) -> bool:
        """Tell whether an item names a finding's criterion, and its place unless it is a test.

        What one pulse does not part is the same after another test like those before.
        """
        code = finding.code
        if code in self._tested and finding.reason is not Reason.GROUP_ONLY:
            return True
        return code in self._worked_on if finding.site is None else (code, finding.site) in self._at_sites


def _question(fibre: FibreMeasured, finding: Finding) -> str | None:
    """Return what the engineer has to be asked, where no work of a crew can help; None where a test may."""
    if finding.reason is Reason.END_NOT_BUILT:
        return f"{REASON_LABELS[Reason.END_NOT_BUILT]}: build it, or the engineer may concede it"
    if finding.reason is Reason.GROUP_ONLY and finding.site is not None and not fibre.layout.is_closure(finding.site):
        return (
            f"{REASON_LABELS[Reason.GROUP_ONLY]}, and no pulse parts a pigtail's splice from its connector: the "
            "engineer may agree to a limit for both together, or concede it"
        )
    if not finding.is_bad:
        return None
    quantity = finding.quantity.value.replace("_", " ")
    is_held = finding.judged.limit is not None and finding.judged.bounds is not None
    said = beyond_limit(finding) if is_held else finding.judged.detail
    return f"the {quantity}{at_wavelength(finding.wavelength_nm)} {said}: {_NO_WORK_HELPS}"


def _site_of(fibre: FibreMeasured, finding: Finding) -> str:
    if finding.reason is Reason.END_NOT_BUILT:
        return fibre.layout.design.sites[max(fibre.layout.unbuilt_ends)].id
    return finding.site or finding.from_site or fibre.end_sites[0]
