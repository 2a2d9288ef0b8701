"""The work list of one fibre: what a crew has to do, in order from A, to turn its findings around."""

from collections.abc import Sequence

from service.vocabulary.finding import FindingDocument, WorkDocument
from service.vocabulary.words import Act
from worker.judgement.fibre_under_test import FibreUnderTest
from worker.judgement.joint_work import joint_work
from worker.judgement.retest_work import retest_work

_ACT_ORDER = {act.value: rank for rank, act in enumerate(Act)}


def work_of(fibre: FibreUnderTest, findings: Sequence[FindingDocument]) -> list[WorkDocument]:
    """Return what is to be done on one fibre.

    Tests are asked for once the splicing before them is done and shut, or the crew would make them twice.
    """
    work = list(joint_work(fibre, findings))
    if not work:
        work = list(retest_work(fibre, findings))
    return sorted(work, key=lambda item: (item["site_index"], _ACT_ORDER[item["act"]], item.get("position", 0)))
