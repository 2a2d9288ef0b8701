"""The work list of one fibre: what a crew has to do, in order from A, to turn its findings around."""

from collections.abc import Sequence

from service.vocabulary.findings.words import Act
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.work.connections import connection_work, inspection_work
from worker.judgement.work.faults import fault_work
from worker.judgement.work.items import WorkItem
from worker.judgement.work.joints import joint_work, statistic_work
from worker.judgement.work.retests import is_ready_for_tests, record_work, retest_work

_ACT_ORDER = {act: rank for rank, act in enumerate(Act)}


def work_of(fibre: FibreMeasured, findings: Sequence[Finding]) -> list[WorkItem]:
    """Return what is to be done on one fibre.

    Tests come last, and the inspection of end faces just before them: what is tested before the other work is finished
    has to be tested again. Where joints keep their own limits and break one together, the worst of them is asked for,
    unless there is other work. A record that is only missing holds nothing up.
    """
    still_open = [finding for finding in findings if not finding.is_good]
    work = [
        *fault_work(fibre, still_open),
        *joint_work(fibre, findings),
        *connection_work(fibre, still_open),
    ]
    # Any other work may bring the joints back within their limit together, so the worst is named last.
    work = work or list(statistic_work(fibre, still_open))
    if not work and still_open and is_ready_for_tests(fibre):
        work = list(inspection_work(fibre, still_open)) or list(retest_work(fibre, still_open))
    work += record_work(fibre, still_open)
    site_index = fibre.layout.site_index
    return sorted(work, key=lambda item: (site_index[item.site], _ACT_ORDER[item.act], item.position or 0))
