"""Over 3,000 honest fibres with a joint at each of 24 sites, judged against what was built and measured.

Designs state the wrong excess and slack, instruments the wrong index, closures stand close together, fibres pass uncut,
a third of the joints is unseen from some side: nothing of that is a fault.
"""

import pytest

from tests.acceptance.figures import Share
from tests.acceptance.runs import Scores, honest_scores

# The first of these tests judges all routes, about a minute on two cores.
pytestmark = [pytest.mark.slow, pytest.mark.timeout(1200)]


@pytest.fixture
def honest() -> Scores:
    """Return the scores of the honest routes."""
    return honest_scores()


def test_no_event_is_placed_wrong_and_accepted(honest: Scores, capsys: pytest.CaptureFixture[str]) -> None:
    _print(capsys, f"honest fibres {honest.placing.fibres}, events of one joint {honest.placing.listed_alone}")
    assert honest.placing.fibres > 3000
    assert honest.placing.misplaced == []


def test_bounds_hold_the_true_loss_within_noise(honest: Scores) -> None:
    assert honest.placing.untrue == []


def test_events_apart_are_determined(honest: Scores, capsys: pytest.CaptureFixture[str]) -> None:
    _print(capsys, f"determined, of events of one joint: {honest.placing.determined_share:.4%}")
    assert honest.placing.determined_share >= 0.995


def test_hardly_a_finding_is_undetermined(honest: Scores, capsys: pytest.CaptureFixture[str]) -> None:
    reasons = ", ".join(f"{reason} {count}" for reason, count in honest.placing.reasons.most_common())
    _print(capsys, f"undetermined findings: {honest.placing.undetermined_share:.4%} ({reasons})")
    assert honest.placing.undetermined_share < 0.01


def test_hardly_an_honest_fibre_comes_under_suspicion(honest: Scores, capsys: pytest.CaptureFixture[str]) -> None:
    share = Share(len(honest.alarms.raised), honest.alarms.fibres)
    _print(capsys, f"false suspicions, fibres: {share}", *honest.alarms.raised)
    assert share.interval[1] < 0.01


def _print(capsys: pytest.CaptureFixture[str], *lines: str) -> None:
    with capsys.disabled():
        print("", *lines, sep="\n")
