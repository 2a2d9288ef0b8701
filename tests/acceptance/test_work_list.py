"""The work list against faults whose truth is known: done as told, fibres conform, in the visits that a fault needs."""

import pytest

from tests.acceptance.runs import PLAYED_ROUTES, worked_off
from tests.acceptance.work_score import FIBRES
from tests.simulator.faults import PEOPLE, FaultKind

# What people do to papers, and a strong reflection, may leave everything within its limit.
NEED_NOT_SHOW = {*PEOPLE, FaultKind.ECHO, FaultKind.MISSING_EVENT, FaultKind.COPIED_FIBRE} - {FaultKind.DELETED_EVENT}
# All splices of these routes are good: what a trace shows of them is a consequence.
WITH_GOOD_SPLICES = (
    FaultKind.CROSSED_FIBRES,
    FaultKind.BEND_IN_CLOSURE,
    FaultKind.BEND_IN_CABLE,
    FaultKind.DIRTY_CONNECTOR,
    FaultKind.ONE_DIRECTION_COPIED,
)

# The first of these tests judges all routes. `python -m tests.acceptance --work-list --routes 18` judges 306.
pytestmark = [pytest.mark.slow, pytest.mark.timeout(1200)]


@pytest.mark.parametrize("kind", FaultKind)
def test_whatever_keeps_a_fibre_from_conforming_is_on_its_list(kind: FaultKind) -> None:
    assert worked_off()[kind].unsaid == []


@pytest.mark.parametrize("kind", FaultKind)
def test_done_as_told_each_fibre_conforms_in_as_few_visits_as_its_fault_allows(
    kind: FaultKind, capsys: pytest.CaptureFixture[str]
) -> None:
    score = worked_off()[kind]
    with capsys.disabled():
        print("", *score.describe(kind), sep="\n")
    assert (score.routes, score.fibres) == (PLAYED_ROUTES, FIBRES * PLAYED_ROUTES)
    assert score.left == []
    assert score.visits[0] < score.fibres or kind in NEED_NOT_SHOW


@pytest.mark.parametrize("kind", WITH_GOOD_SPLICES)
def test_no_good_splice_is_made_again(kind: FaultKind) -> None:
    assert worked_off()[kind].acts["re_splice"] == 0
