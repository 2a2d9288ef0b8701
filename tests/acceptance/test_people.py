"""What people do to the papers of a few fibres of a usual route, whose other fibres are tested by honest people."""

import pytest

from tests.acceptance.people_score import LEAST_SAID
from tests.acceptance.runs import FAULTS_OF_A_ROUTE, SAID, SAID_ROUTES, people_said
from tests.simulator.faults import FaultKind

# The first of these tests judges all routes.
pytestmark = [pytest.mark.slow, pytest.mark.timeout(1200)]

# A gain typed as a loss is said once the total of the same trace is off its parts by more than their uncertainty.
MOST_SIZE_DB = 0.15


@pytest.mark.parametrize("kind", SAID)
def test_nineteen_in_twenty_are_said_from_some_size_on(kind: FaultKind, capsys: pytest.CaptureFixture[str]) -> None:
    score = people_said()[kind]
    with capsys.disabled():
        print("", *score.describe(kind), sep="\n")
    assert len(score.fibres) == FAULTS_OF_A_ROUTE * SAID_ROUTES
    assert score.size_db is not None
    assert score.size_db <= MOST_SIZE_DB
    share = score.said(from_db=score.size_db)
    assert share.count >= LEAST_SAID * share.of
